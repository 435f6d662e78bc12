"""What this app's own log adds to the animal's page: weights, and the buttons to weigh and to mate."""

from django.urls import reverse

from .growth import weighings, weights_of_animal
from .models import Sex, Weight
from .panels import AnimalAction, AnimalPanel, register


def register_parts():
    """Called once when the app is ready."""
    register(AnimalPanel("weights", "Weights", 40, "herds/weight_panel.html", weights_context))
    register(AnimalAction("weigh", "Weigh", 40, weigh_url, "scale"))
    register(AnimalAction("mate", "Mating", 45, mate_url, "calendar"))


def weights_context(request, animal):
    """The last weights, for those who may read them; None leaves the panel out."""
    rows = weighings(weights_of_animal(animal, Weight.objects.visible_to(request.user)), animal.born_on)
    if not rows and not animal.is_kept:
        return None
    return {"rows": rows[:2], "more": len(rows), "may_edit": animal.is_kept, "animal": animal, "user": request.user}


def weigh_url(request, animal):
    if not (animal.is_here and animal.is_kept):
        return None
    return f"{reverse('weight-create')}?animal={animal.pk}"


def mate_url(request, animal):
    if animal.sex == Sex.UNKNOWN or not (animal.is_here and animal.is_kept):
        return None
    return f"{reverse('mating-create')}?{animal.sex}={animal.pk}"
