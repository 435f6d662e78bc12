"""What the form for taking photos shows: the views, which of them are there already, and which is next."""

from collections import Counter

from django.conf import settings
from django.middleware.csrf import get_token
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from . import photo_guide
from .actions.photos import most_words, too_large
from .forms.photos import TakeForm
from .models import Look, Photo, View
from .photo_reading import photos_of


def taking(request, animal, look=None, form=None, photos=None):
    """Context of templates/grading/photo_form.html for a keeper of the animal; `photos` are those of the day."""
    day = look.observed_on if look else timezone.localdate()
    if photos is None:
        photos = photos_of(animal, request.user).filter(taken_on=day)
    taken = Counter(photo.view for photo in photos)
    asked = request.GET.get("view")
    proposed = asked if asked in View.values else next_view(taken)
    form = form or TakeForm(request, animal=animal, look=look, initial=defaults(request.user, look, day, proposed))
    return {
        "animal": animal,
        "look": look,
        "form": form,
        "views": [
            {
                "value": view.value,
                "label": view.label,
                "how": how,
                "picture": f"img/views/{view.value}.webp" if view != View.OTHER else "",
                "taken": taken[view.value],
                "chosen": form["view"].value() == view.value,
            }
            for view, how in photo_guide.guide()
        ],
        "said": said(form),
        "light_help": photo_guide.LIGHT,
        "cautions": photo_guide.CAUTIONS,
        "note": photo_guide.note_for(animal, day),
        "short_caution": photo_guide.SHORT_CAUTION,
        "most_bytes": settings.PHOTO_MAX_BYTES,
        "most_words": most_words(),
        "too_large": too_large(),
        "url": reverse("photo-create", args=[animal.pk]),
        "token": get_token(request),
        "back_url": way_back(request),
    }


def way_back(request):
    """The page of ours that sent the keeper here to take a photo; '' without one."""
    asked = request.POST.get("back_url") or request.GET.get("back", "")
    return asked if asked.startswith("/") and url_has_allowed_host_and_scheme(asked, allowed_hosts=None) else ""


def sent_form(request, animal, look, limit):
    """The form that was sent; of one that was cut off, what is missing is what its page proposed."""
    initial = None
    if limit.was_cut:
        day = look.observed_on if look else timezone.localdate()
        initial = defaults(request.user, look, day, View.OTHER.value)
    return TakeForm(request, animal=animal, look=look, limit=limit, initial=initial)


def next_view(taken):
    """The first view of the protocol that is still missing; 'another view' when none is."""
    return next((view.value for view in View if not taken[view.value]), View.OTHER.value)


def defaults(member, look, day, proposed):
    """What is most likely right: the look's light, else that of the member's last photo of today."""
    last = Photo.objects.filter(uploaded_by=member, uploaded_at__date=timezone.localdate()).order_by("-pk").first()
    light = look.light if look else last.light if last else ""
    reference = last.reference if last else "none"
    return {"view": proposed, "light": light, "reference": reference, "taken_on": day}


def said(form):
    """Light, card and day as the form has them now, in words."""
    light = dict(form.fields["light"].choices).get(form["light"].value() or "", "")
    card = dict(form.fields["reference"].choices).get(form["reference"].value() or "none", "")
    return [light if form["light"].value() else "light not told", card]


def look_asked(animal, member, pk):
    """The look of the animal that a request names and the member may see; None for every other text."""
    if not (pk or "").isdecimal() or len(pk) > 18:
        return None
    return Look.objects.visible_to(member).filter(animal=animal, pk=int(pk)).first()
