"""What photo pages read: who may see an animal's photos, and photos by view and age."""

from collections import Counter, defaultdict
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse

from grading.models import Photo, PhotoState, View
from grading.models.photo import Reference
from herds.models import Animal, AnimalGrant, Grant, Herd
from herds.words import age_words, day_words

PATIENCE = (1, 2, 3, 5, 8, 13, 20, 30)  # seconds between two questions whether a photo is ready


def animals_with_open_photos(member):
    """Animals whose photos the member may see, whether there are any or not; `is_kept` tells the member's own."""
    kept = Herd.objects.kept_by(member)
    granted = Grant.objects.running().filter(mentor=member.pk).values("herd")
    animals = Animal.objects.visible_to(member).select_related("herd")
    singly = AnimalGrant.objects.running().filter(mentor=member.pk).values("animal")
    opened = Q(herd__in=granted) | Q(herd__shares_photos=True) | Q(pk__in=singly)
    animals = animals.filter(Q(herd__in=kept) | opened)
    return animals.annotate(is_kept=Exists(kept.filter(pk=OuterRef("herd"))))


def photos_of(animal, member):
    """The photos on the animal's pages, oldest first: neither withdrawn nor refused."""
    return Photo.objects.visible_to(member).shown().filter(animal=animal).order_by("taken_on", "pk")


def set_aside(animal, member):
    """(could not be read, withdrawn) photos of the animal, which only its keepers are shown."""
    photos = Photo.objects.editable_by(member).filter(animal=animal)
    photos = photos.filter(Q(state=PhotoState.REFUSED) | Q(withdrawn_at__isnull=False)).order_by("-pk")
    refused, withdrawn = [], []
    for photo in photos:
        (withdrawn if photo.withdrawn_at else refused).append(shown_as(photo, animal))
    return refused, withdrawn


def words_of(photo, animal):
    """What a picture is called where it cannot be seen: 'Left side of A12 Slate at 5 months, 3 May 2026'."""
    age = f"at {age_words(animal.born_on, photo.taken_on)}, " if animal.born_on else ""
    return f"{photo.get_view_display().capitalize()} of {animal}, {age}{day_words(photo.taken_on)}"


def shown_as(photo, animal):
    """A photo with what its figure needs: addresses by size, shape, age, words."""
    photo.words = words_of(photo, animal)
    photo.age = age_words(animal.born_on, photo.taken_on) if animal.born_on else ""
    photo.eye_only = photo.reference == Reference.NONE
    photo.is_ready = photo.state == PhotoState.READY
    photo.is_waiting = photo.state == PhotoState.WAITING
    photo.urls = {f"s{size}": reverse("photo-file", args=[photo.key, size]) for size in ("320", "1024", "2048")}
    photo.views = View
    return photo


def ask_again_after(asked):
    """(how often it was asked, seconds until the next question) for a photo that is not ready."""
    return asked, PATIENCE[min(asked, len(PATIENCE) - 1)]


@dataclass
class Row:
    """A view's photos in the columns of a table."""

    view: View
    cells: list


def side_by_side(photos, days):
    """Rows by protocol view, one list of photos for each of the days; views without a photo are left out."""
    cells = defaultdict(lambda: defaultdict(list))
    for photo in photos:
        cells[photo.view][photo.taken_on].append(photo)
    return [Row(view, [cells[view][day] for day in days]) for view in View if view in cells]


def by_view(photos, wanted):
    """([(view, how many, chosen)], the chosen view's photos); the wanted view, else the first that has photos."""
    counts = Counter(photo.view for photo in photos)
    chosen = wanted if counts[wanted] else next((view.value for view in View if counts[view.value]), "")
    choices = [(view, counts[view.value], view == chosen) for view in View if counts[view.value]]
    return choices, [photo for photo in photos if photo.view == chosen]


def strip(animal, member, wanted=""):
    """Context of templates/grading/photo_panel.html: the views there are, and one view's photos by age."""
    photos = [shown_as(photo, animal) for photo in photos_of(animal, member)]
    choices, chosen = by_view(photos, wanted)
    return {"animal": animal, "choices": choices, "photos": chosen, "photo_count": len(photos)}


def neighbours(photo, member):
    """(earlier, later) photo of the same animal and view; None at either end."""
    same = list(photos_of(photo.animal, member).filter(view=photo.view).values_list("key", flat=True))
    if photo.key not in same:
        return None, None
    at = same.index(photo.key)
    return (same[at - 1] if at else None), (same[at + 1] if at + 1 < len(same) else None)
