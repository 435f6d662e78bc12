"""Which photos make a set: animals whose owners agreed, spread over the scale, in one order, some of them twice."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from django.db.models import Avg
from django.utils import timezone

from grading.models import CalibrationItem, Look, PhotoConsent, SetState, View
from grading.models.consent import open_photos

FEWEST_ANIMALS = 6  # under so many no figure of agreement means anything
MOST_ANIMALS = 120
# What a set shows of an animal, in this order, so that surface and undercolor stand together; an ear mark would say who
# it is.
SHOWN = (View.LEFT_SIDE, View.PARTED_LOIN, View.PARTED_RUMP, View.RIGHT_SIDE, View.TOP, View.HEAD_FRONT, View.REAR)
MOST_VIEWS = 5
A_YEAR_APART = timedelta(days=180)  # a set for newcomers in between is not "last year's": our own choice
SHARED = 0.25  # of a set: animals that last year's had too, so that drift can be told


@dataclass(frozen=True)
class Candidate:
    """An animal of one day with its open photos; surface and undercolor are means of its looks, None if none."""

    animal: int
    photos: tuple
    surface: float | None
    undercolor: float | None
    shared: bool = False

    @property
    def has_coat(self):
        return any(photo.view in (View.PARTED_LOIN, View.PARTED_RUMP) for photo in self.photos)


def candidates(breed_id, opens_on=None):
    """Every animal of a breed with open photos: of each its best day, that with most views. Three queries.

    opens_on : first day of the set they are for, today where it is not said; it tells which set was last year's.
    """
    photos = open_photos(PhotoConsent.Use.CALIBRATION).filter(animal__breed=breed_id, view__in=SHOWN)
    by_day: dict = {}
    for photo in photos.order_by("animal", "taken_on", "pk"):
        by_day.setdefault((photo.animal_id, photo.taken_on), {}).setdefault(photo.view, photo)
    best: dict = {}
    for (animal, day), views in by_day.items():
        kept = best.get(animal)
        if kept is None or (len(views), day) > (len(kept[1]), kept[0]):
            best[animal] = (day, views)
    means = {
        animal: (surface, undercolor)
        for animal, surface, undercolor in Look.objects.current()
        .filter(animal__in=best)
        .order_by()
        .values_list("animal")
        .annotate(Avg("surface"), Avg("undercolor"))
    }
    before = photos_of_last(breed_id, opens_on or timezone.localdate())
    found = []
    for animal, (_day, views) in best.items():
        shown = tuple(views[view] for view in SHOWN if view in views)[:MOST_VIEWS]
        shared = frozenset(photo.pk for photo in shown) in before
        found.append(Candidate(animal, shown, *means.get(animal, (None, None)), shared))
    return found


def photos_of_last(breed_id, opens_on):
    """{set of photo keys: item key} of last year's set: the last one worked out that opened half a year before."""
    items = CalibrationItem.objects.filter(of__breed=breed_id, of__state=SetState.DONE, again_of=None)
    items = items.filter(of__opens_on__lte=opens_on - A_YEAR_APART)
    last = items.order_by("-of__opens_on", "-of").values("of")[:1]
    pairs = CalibrationItem.photos.through.objects.filter(calibrationitem__in=items.filter(of__in=last))
    photos: dict = {}
    for item, photo in pairs.values_list("calibrationitem", "photo"):
        photos.setdefault(item, set()).add(photo)
    return {frozenset(keys): item for item, keys in photos.items()}


def proposed(found, animals, rng):
    """So many of the candidates, spread over surface and undercolor, with a quarter that last year's set had too.

    Cells of whole steps are emptied in turns, so that the ends of the scale are as many as its middle. Animals whose
    parted coat is shown come before others; those that were never graded come last.
    """
    order = [found[place] for place in rng.permutation(len(found))]
    order.sort(key=lambda each: (not each.has_coat, each.surface is None))
    shared = [each for each in order if each.shared][: round(animals * SHARED)]
    cells: dict = {}
    for each in order:
        if each not in shared:
            cell = None if each.surface is None else (round(each.surface), round(each.undercolor or 0) // 2)
            cells.setdefault(cell, []).append(each)
    queues = sorted(cells.items(), key=lambda item: (item[0] is None, item[0]))
    chosen = list(shared)
    while len(chosen) < animals and any(queue for _, queue in queues):
        for _, queue in queues:
            if queue and len(chosen) < animals:
                chosen.append(queue.pop(0))
    return [chosen[place] for place in rng.permutation(len(chosen))]


def arranged(count, doubles, rng):
    """The order of a set: places 0 to count - 1 once each, some of the first half again, a third of the set later."""
    first_half = max(count // 2, 1)
    again = rng.choice(first_half, min(doubles, count // 2), replace=False).tolist()
    keys = [(float(place), place) for place in range(count)]
    for place in again:
        least = place + count / 3
        keys.append((float(rng.uniform(least, max(count, least + 1))), place))
    return [place for _, place in sorted(keys)]


def coverage(found):
    """{step: animals} of surface shade, for the officer who looks whether the whole scale is there."""
    steps = [round(each.surface) for each in found if each.surface is not None]
    return {step: int(np.sum(np.array(steps) == step)) for step in range(1, 10)} if steps else {}
