"""What photos add to the animal's page: a strip of one view by age, and the button that takes one."""

from django.urls import reverse

from herds.panels import AnimalAction, AnimalPanel
from herds.panels import register as add

from . import photo_reading as reading


def register():
    """Called once when the app is ready."""
    add(AnimalPanel("photos", "Photos", 20, "grading/photo_panel.html", panel))
    add(AnimalAction("photo", "Photo", 20, create_url, icon="camera"))


def panel(request, animal):
    """The strip, for whom the herd's photos are open; left out where there is nothing to see and nothing to add."""
    if not (animal.is_kept or reading.animals_with_open_photos(request.user).filter(pk=animal.pk).exists()):
        return None
    context = reading.strip(animal, request.user, request.GET.get("view", ""))
    return context if context["photo_count"] or animal.is_kept else None


def create_url(request, animal):
    return reverse("photo-create", args=[animal.pk]) if animal.is_kept else None
