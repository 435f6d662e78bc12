"""Tags for pages that take photos on the way: {% load grading_photos %}."""

from django import template

from grading.photo_reading import photos_of, shown_as
from grading.photo_taking import taking
from herds.models import Animal

register = template.Library()


@register.simple_tag(takes_context=True)
def photo_taking(context, animal, look=None):
    """The form's context for a keeper of the animal, with the look's photos as `photos`; None for everybody else."""
    request = getattr(context, "request", None) or context.get("request")
    if request is None or not Animal.objects.editable_by(request.user).filter(pk=animal.pk).exists():
        return None
    photos = photos_of(animal, request.user).filter(look=look) if look else []
    return taking(request, animal, look) | {"photos": [shown_as(photo, animal) for photo in photos]}
