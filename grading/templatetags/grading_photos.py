"""Tags for pages that show and take photos on the way: {% load grading_photos %}."""

from django import template
from django.utils import timezone

from grading.photo_reading import photos_of, shown_as
from grading.photo_taking import taking
from herds.models import Animal

register = template.Library()


@register.simple_tag(takes_context=True)
def photo_taking(context, animal, look=None):
    """The look's photos that the member may see as `photos`, and for a keeper of the animal the form's context."""
    request = getattr(context, "request", None) or context.get("request")
    if request is None:
        return None
    may_take = Animal.objects.editable_by(request.user).filter(pk=animal.pk).exists()
    day = look.observed_on if look else timezone.localdate()
    photos = list(photos_of(animal, request.user).filter(taken_on=day))
    shown = [shown_as(photo, animal) for photo in photos if look and photo.look_id == look.pk]
    found = {"photos": shown, "may_take": may_take}
    return found | (taking(request, animal, look, photos=photos) if may_take else {})
