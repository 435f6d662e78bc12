"""What reviews add to the animal's page: the reviews it was in, and the button that asks for one."""

from django.urls import reverse

from herds.panels import AnimalAction, AnimalPanel
from herds.panels import register as add

from . import review_reading as reading


def register():
    """Called once when the app is ready."""
    add(AnimalPanel("reviews", "Reviews", 25, "grading/review_panel.html", panel))
    add(AnimalAction("review", "Ask for a review", 60, create_url, icon="people"))


def panel(request, animal):
    """The reviews of this animal that the member may read; left out where there are none."""
    rows = list(reading.reviews_of_animal(animal, request.user))
    return {"animal": animal, "reviews": rows} if rows else None


def create_url(request, animal):
    return f"{reverse('review-create')}?animal={animal.pk}" if animal.is_kept and animal.is_here else None
