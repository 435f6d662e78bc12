"""An owner's leave to show photos to the club's graders without a name: for calibration, and for practice."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from grading import photo_reading
from grading.actions.calibration import set_consents
from grading.calibrating.choosing import SHOWN
from grading.models import Photo, PhotoConsent, PhotoState
from herds.models import Herd
from herds.words import count_words

PER_PAGE = 24
USES = PhotoConsent.Use


@require_http_methods(["GET", "POST"])
def herd_consents(request, slug):
    """The photos of a herd, with a tick for each use; sending the page opens what is ticked and closes what is not."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    photos = Photo.objects.filter(animal__herd=herd, withdrawn_at=None, state=PhotoState.READY, view__in=SHOWN)
    if animal := request.GET.get("animal", ""):
        photos = photos.filter(animal=int(animal)) if animal.isdecimal() else photos.none()
    photos = photos.select_related("animal").order_by("-taken_on", "animal", "pk")
    page = Paginator(photos, PER_PAGE).get_page(request.GET.get("page"))
    if request.method == "POST":
        return save(request, list(page.object_list))
    standing = set(PhotoConsent.objects.standing().filter(photo__in=page.object_list).values_list("photo", "use"))
    rows = [
        {
            "photo": photo_reading.shown_as(photo, photo.animal),
            "uses": [(use, label, (photo.pk, use) in standing) for use, label in USES.choices],
        }
        for photo in page.object_list
    ]
    context = {"herd": herd, "page": page, "rows": rows, "uses": USES.choices}
    return render(request, "grading/photo_consents.html", context)


def save(request, photos):
    """Open and close what this page showed, and nothing beyond it; `all` opens all of it for a use."""
    shown = set(request.POST.getlist("shown"))
    photos = [photo for photo in photos if str(photo.pk) in shown]
    opened = closed = 0
    for use in USES.values:
        ticked = shown if request.POST.get("all") == use else set(request.POST.getlist(use))
        agreed = [photo for photo in photos if str(photo.pk) in ticked]
        more, fewer = set_consents(photos=photos, use=use, agreed=agreed, by=request.user)
        opened, closed = opened + more, closed + fewer
    said = [f"{count_words(opened, 'leave')} given" if opened else "", f"{closed} taken back" if closed else ""]
    words = " and ".join(filter(None, said))
    messages.success(request, f"{words[:1].upper()}{words[1:]}." if words else "Nothing was changed.")
    return redirect(request.get_full_path())
