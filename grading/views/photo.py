"""One photo: its page, its files, and what its keepers may do with it."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.htmx import wants_part
from clubsite.versions import StalePage
from grading import photo_reading as reading
from grading import photo_serving as serving
from grading.actions import photos as actions
from grading.forms.photos import EditForm
from grading.models import Photo, PhotoState
from herds.models import Herd


def seen_photo(request, key):
    """The photo, if the member may see it, with `is_kept` for its keepers; else 404."""
    photos = Photo.objects.visible_to(request.user).select_related("animal__herd", "look", "uploaded_by")
    photo = get_object_or_404(photos, key=key)
    photo.is_kept = Herd.objects.kept_by(request.user).filter(pk=photo.animal.herd_id).exists()
    return reading.shown_as(photo, photo.animal)


def own_photo(request, key):
    """The photo, if the member keeps its animal; else 404."""
    photos = Photo.objects.editable_by(request.user).select_related("animal__herd", "look", "uploaded_by")
    photo = get_object_or_404(photos, key=key)
    photo.is_kept = True
    return reading.shown_as(photo, photo.animal)


@require_safe
def photo_detail(request, key):
    """One photo, large, with its facts."""
    photo = seen_photo(request, key)
    return render(request, "grading/photo_detail.html", _page(request, photo, EditForm(photo=photo)))


def _page(request, photo, form):
    earlier, later = reading.neighbours(photo, request.user)
    return {"photo": photo, "animal": photo.animal, "form": form, "earlier": earlier, "later": later}


@require_POST
def photo_update(request, key):
    """What is said about a photo: the whole form, or the one thing that a row's touch sent."""
    photo = own_photo(request, key)
    if wants_part(request):
        return _touched(request, photo)
    form, status = EditForm(request.POST, photo=photo), 422
    try:
        if form.is_valid() and form.save(request.user):
            messages.success(request, "Saved.")
            return redirect("photo-detail", photo.key)
    except StalePage as stale:
        form.add_error(None, stale)
        form.data = form.data.copy()
        photo = own_photo(request, key)
        form.data["seen"], status = actions.version_of(photo), 409
    return render(request, "grading/photo_detail.html", _page(request, own_photo(request, key), form), status=status)


def _touched(request, photo):
    """A row after its view was chosen anew, or after the day that the photo itself tells was taken over."""
    said = {name: getattr(photo, name) for name in actions.EDITABLE}
    form = EditForm(said | request.POST.dict(), photo=photo)
    saved = form.is_valid() and form.save(request.user)
    photo = own_photo(request, photo.key)
    problem = "" if saved else " ".join(sentence for sentences in form.errors.values() for sentence in sentences)
    return row(request, photo, problem=problem, saved=bool(saved), status=200 if saved else 422)


def row(request, photo, *, status=200, **more):
    """A photo's row in the list of those that were just sent."""
    context = {"photo": photo, "animal": photo.animal, "asked": 0, "wait": reading.PATIENCE[0], **more}
    return render(request, "grading/photo_parts.html#row", context, status=status)


@require_safe
def photo_state(request, key, part):
    """The figure, or the state in a row, of a photo whose copies are being made."""
    photo = seen_photo(request, key)
    if not wants_part(request):
        return redirect("photo-detail", photo.key)
    asked = request.GET.get("asked", "")
    asked, wait = reading.ask_again_after(int(asked) + 1 if asked.isdecimal() and len(asked) < 4 else 0)
    return render(request, f"grading/photo_parts.html#{part}", {"photo": photo, "asked": asked, "wait": wait})


@require_POST
def photo_withdraw(request, key):
    """Out of sight of everybody but the keepers."""
    photo = own_photo(request, key)
    actions.withdraw_photo(photo=photo, by=request.user)
    if wants_part(request):
        return row(request, own_photo(request, key))
    undo = reverse("photo-restore", args=[photo.key])
    messages.success(request, f"{photo.words} is withdrawn: only its keepers still see it.", extra_tags=undo)
    return redirect("photo-list", photo.animal_id)


@require_POST
def photo_restore(request, key):
    """Undo a withdrawal."""
    photo = own_photo(request, key)
    try:
        actions.restore_photo(photo=photo, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        if not wants_part(request):
            messages.success(request, f"{photo.words} is back.")
    if wants_part(request):
        return row(request, own_photo(request, key))
    return redirect("photo-list", photo.animal_id)


@require_POST
def photo_dismiss(request, key):
    """Forget a photo that could not be read."""
    photo = own_photo(request, key)
    actions.dismiss_photo(photo=photo, by=request.user)
    return redirect("photo-list", photo.animal_id)


@require_POST
def photo_again(request, key):
    """Put a photo whose copies were not made back into the queue."""
    photo = own_photo(request, key)
    actions.prepare_again(photo=photo, by=request.user)
    messages.success(request, "The copies of this photo are being made again.")
    return redirect("photo-detail", photo.key)


@require_http_methods(["GET", "HEAD"])
def photo_file(request, key, size):
    """A sized copy for whoever may see the photo; the original for the herd's keepers."""
    if not serving.known_size(size):
        raise Http404
    may = Photo.objects.editable_by if size == serving.ORIGINAL else Photo.objects.visible_to
    photo = get_object_or_404(may(request.user).filter(state=PhotoState.READY).select_related("animal"), key=key)
    return serving.answer(request, photo, size)
