"""Weighings in order, with the gain per day between them."""

import itertools
from dataclasses import dataclass
from datetime import date

from django.db.models import Q, Subquery

from .models import Kit, Weight


@dataclass(frozen=True)
class Weighing:
    """One weighing; `gain` is grams a day since the one before, or None for the first."""

    weight: Weight
    on: date
    grams: int
    days: int | None
    gain: float | None
    age_days: int | None

    @property
    def mean(self):
        """Grams of one kit, when several were on the scale."""
        return round(self.grams / self.weight.count) if self.weight.count else None


def weighings(weights, born_on=None):
    """Weighings, newest first, of weights in any order. Days without a gain between them give none."""
    in_order = sorted(weights, key=lambda weight: (weight.on, weight.pk))
    rows, before = [], None
    for weight in in_order:
        days = (weight.on - before.on).days if before else None
        rows.append(
            Weighing(
                weight=weight,
                on=weight.on,
                grams=weight.grams,
                days=days,
                gain=(weight.grams - before.grams) / days if days else None,
                age_days=(weight.on - born_on).days if born_on else None,
            )
        )
        before = weight
    return rows[::-1]


def weights_of_animal(animal, visible):
    """The animal's weights, and those of the kit it was before it was marked; one for a day, the animal's first."""
    as_kit = Subquery(Kit.objects.filter(animal=animal).values("pk"))  # a subquery alone, not a join, lets keys be used
    found = visible.filter(Q(animal=animal) | Q(kit=as_kit)).select_related("logged_by", "herd")
    by_day = {}
    for weight in sorted(found, key=lambda weight: weight.animal_id is None, reverse=True):
        by_day[weight.on] = weight
    return list(by_day.values())


def litter_weighings(litter, visible):
    """Weighings of the whole litter. Its gain is left out when another number of kits stood on the scale."""
    rows = weighings(visible.filter(litter=litter), litter.born_on)
    counts = {row.on: row.weight.count for row in rows}
    days = sorted(counts)
    same = {later for earlier, later in itertools.pairwise(days) if counts[earlier] == counts[later]}
    return [row if row.on in same else _without_gain(row) for row in rows]


def _without_gain(row):
    return Weighing(row.weight, row.on, row.grams, row.days, None, row.age_days)
