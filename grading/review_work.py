"""What the mentor's pages show of one animal while it is graded blind: photos, scales, and how far the review is.

Until the grading is saved nothing here names the animal, its herd's marks, its parents or what others gave it.
"""

from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.urls import reverse

from . import review_reading
from .calibrating.choosing import SHOWN
from .look_sheet import SECTIONS, LookSheet
from .models import Drawing, Look, Photo, Review, ReviewAnimal, View, ViewWish

# The whole coat and the parted one first: on a phone the rest is swiped to.
VIEWS = (*SHOWN, *(view for view in View.values if view not in SHOWN))
SITE_VIEWS = {View.PARTED_LOIN: "loin", View.PARTED_RUMP: "rump"}
HIDDEN_VIEWS = (View.EAR_MARK,)  # it says who the animal is
NEIGHBOURS = 3  # other animals shown beside, before and after


@dataclass
class Shown:
    """A photo as the mentor sees it, with what they drew, and the same view of other animals of the review."""

    photo: Photo
    view: str
    code: str
    urls: dict
    number: int
    shapes: list = field(default_factory=list)
    beside: list = field(default_factory=list)


def photo_url(of, photo, size):
    return reverse("review-photo", args=[of.pk, photo.key, size])


def photos_of(of, member, *, others=()):
    """Shown photos of an animal: the newest of each view, the whole coat and the parted one first. Three queries."""
    newest = _newest([of, *others], member)
    drawings: dict = {}
    for drawing in Drawing.objects.filter(of=of).order_by("made_at", "pk"):
        drawings.setdefault(drawing.photo_id, []).append(drawing)
    found = []
    for number, (view, photo) in enumerate(newest.get(of.animal_id, {}).items(), 1):
        shapes = [
            {**review_reading.shape_of(photo, each, n), "pk": each.pk}
            for n, each in enumerate(drawings.get(photo.pk, []), 1)
            if photo.width
        ]
        beside = [
            {"number": other.position, "urls": urls_of(other, newest[other.animal_id][view])}
            for other in others
            if view in newest.get(other.animal_id, {})
        ]
        label = View(view).label
        found.append(Shown(photo, label, view, urls_of(of, photo), number, shapes, beside))
    return found


def urls_of(of, photo):
    return {f"s{size}": photo_url(of, photo, size) for size in ("320", "1024", "2048")}


def _newest(animals, member):
    """{animal key: {view: its newest photo}} of what the mentor may see, ear marks left out."""
    photos = Photo.objects.visible_to(member).shown().filter(animal__in=[of.animal_id for of in animals], state="ready")
    found: dict = {}
    for photo in photos.exclude(view__in=HIDDEN_VIEWS).order_by("taken_on", "pk"):
        found.setdefault(photo.animal_id, {})[photo.view] = photo
    return {
        animal: {view: views[view] for view in VIEWS if view in views} for animal, views in found.items()
    }  # fmt: skip


def neighbours(of):
    """The animals of the review that stand next to this one, for the same view beside."""
    near = ReviewAnimal.objects.filter(review=of.review_id).exclude(pk=of.pk)
    return list(
        near.filter(position__gte=of.position - NEIGHBOURS, position__lte=of.position + NEIGHBOURS).order_by("position")
    )


class Sheet:
    """The scales of a blind look that photos can answer, each saved to the review's own address."""

    def __init__(self, of, views):
        self.of, self.views = of, views
        self.sheet = LookSheet(of.look)

    def sections(self):
        """[(section, scales)] with all that photos can show; parted coats only at places that are photographed."""
        found = []
        for number, section in SECTIONS.items():
            scales = [self.scale(row, site) for row in self.rows(number) for site in self.sites(row.trait)]
            if scales:
                found.append((section, scales))
        return found

    def rows(self, section):
        return [row for row in self.sheet.rows if row.trait.section == section and row.trait.photo_can_show]

    def sites(self, trait):
        if not trait.sites:
            return [""]
        seen = [site for view, site in SITE_VIEWS.items() if view in self.views and site in trait.sites]
        return seen or list(trait.sites[:1])

    def scale(self, row, site="", **more):
        """One scale; its label names trait and place, since all sections stand on one page."""
        scale = self.sheet.scale(row, site, **more)
        query = urlencode({"trait": row.trait.code, **({"site": site} if site else {})})
        scale["save_url"] = f"{reverse('review-answer', args=[self.of.review_id, self.of.position])}?{query}"
        scale["label"] = f"{row.trait.name}, {site}" if site else row.trait.name
        return scale

    def asked(self):
        """[(trait, site)] of every scale on the page."""
        return [
            (row.trait, site)
            for section in SECTIONS
            for row in self.rows(section)
            for site in self.sites(row.trait)
        ]  # fmt: skip


def side_of(of, member):
    """Both sides of a graded animal, as its owner will read them."""
    sides = review_reading.sides_of(Review.objects.get(pk=of.review_id), member)
    return next((side for side in sides if side.of.pk == of.pk), None)


def others_looks(of, member):
    """Looks of the animal by others that the member may read anywhere: the herd shares them, or is open to them."""
    return Look.objects.visible_to(member).finished().filter(animal=of.animal_id).exclude(observer=member.pk)


def progress_of(review):
    """[(position, state)] of the animals: 'done', 'graded' or 'open'."""
    rows = review.animals.order_by("position").values_list("position", "graded_at", "done_at")
    return [(position, "done" if done else "graded" if graded else "open") for position, graded, done in rows]


def next_open(progress, after=0):
    """The next animal that is not done, after a position first; None when all are."""
    left = [position for position, state in progress if state != "done"]
    return next((position for position in left if position > after), left[0] if left else None)


def wishes_of(of):
    return list(ViewWish.objects.filter(of=of).order_by("asked_at"))
