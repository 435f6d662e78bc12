"""What comparing adds to the animal's page."""

from django.urls import reverse

from herds.panels import AnimalAction
from herds.panels import register as add


def register():
    """Called once when the app is ready."""
    add(AnimalAction("compare", "Add to a comparison", 62, compare_url, icon="plot"))


def compare_url(request, animal):
    """A comparison that begins with this animal."""
    return f"{reverse('compare')}?kind=animals&with={animal.pk}"
