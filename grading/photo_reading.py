"""What photo pages read: who may see an animal's photos, and photos by view and age."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse

from grading.models import Photo, PhotoState, View
from grading.models.photo import Reference
from herds.models import Animal, Grant, Herd
from herds.words import age_words, day_words

EYE_ONLY = "for the eye only"


def animals_with_open_photos(member):
    """Animals whose photos the member may see, whether there are any or not; `is_kept` tells the member's own."""
    kept = Herd.objects.kept_by(member)
    granted = Grant.objects.running().filter(mentor=member.pk).values("herd")
    animals = Animal.objects.visible_to(member).select_related("herd")
    animals = animals.filter(Q(herd__in=kept) | Q(herd__in=granted) | Q(herd__shares_photos=True))
    return animals.annotate(is_kept=Exists(kept.filter(pk=OuterRef("herd"))))


def photos_of(animal, member):
    """The photos on the animal's pages, oldest first: neither withdrawn nor refused."""
    return Photo.objects.visible_to(member).shown().filter(animal=animal).order_by("taken_on", "pk")


def words_of(photo, animal):
    """What a picture is called where it cannot be seen: 'Left side of A12 Slate at 5 months, 3 May 2026'."""
    age = age_words(animal.born_on, photo.taken_on)
    return f"{photo.get_view_display().capitalize()} of {animal}, {age}, {day_words(photo.taken_on)}"


def shown_as(photo, animal):
    """A photo with what its figure needs: addresses by size, width and height, words."""
    photo.words = words_of(photo, animal)
    photo.age = age_words(animal.born_on, photo.taken_on)
    photo.eye_only = photo.reference == Reference.NONE
    photo.is_ready = photo.state == PhotoState.READY
    photo.urls = {f"s{size}": reverse("photo-file", args=[photo.key, size]) for size in ("320", "1024", "2048")}
    return photo


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
