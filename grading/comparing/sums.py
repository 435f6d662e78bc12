"""The figures of a comparison, from a handful of queries, whatever the number of things, animals and looks.

Its animals and the looks at them are read once, into arrays (behind.py), and counted there; only what is summed trait
by trait, of which a large group has millions of rows, is summed by the database, over the animals that were drawn.
Each animal counts once, with the mean of its looks, and each look once, with the mean of the places parted; spread is
the sample standard deviation over animals. In a comparison of single animals each look counts instead of each animal.
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from django.db import connection
from django.db.models import Q

from clubsite.columns import array_text
from grading.models import Mode
from herds.models import Herd

from . import behind
from .steps import columns, read_steps

DOTS = 250
MEASURED = 500  # animals of a thing whose every trait is summed; the mean of 500 is known to a twentieth of a step


@dataclass(frozen=True)
class Footing:
    """Which looks count: those of one age class and coat stage, in hand; all where `like` is False."""

    like: bool
    age: str = ""
    coat: str = ""

    def sql(self):
        if not self.like:
            return "", []
        return (
            f" AND l.mode = '{Mode.IN_HAND.value}' AND coalesce(c.code, '') = %s AND l.coat_stage = %s",
            [self.age, self.coat],
        )


@dataclass(frozen=True)
class Counts:
    looks: int = 0
    animals: int = 0
    dams: int = 0
    herds: int = 0
    graders: int = 0


@dataclass(frozen=True)
class Figure:
    """One trait of one thing. In a comparison of animals mean, sd and n are of looks, and `last` is the last step."""

    looks: int
    animals: int
    herds: int
    mean: float
    sd: float | None
    last: float | None = None


@dataclass(frozen=True)
class Plane:
    """How surface and undercolor lie in a thing: animals with both, means, and the covariance of the two, or None."""

    n: int
    surface: float | None
    undercolor: float | None
    reach: float | None
    covariance: tuple | None


@dataclass
class Individual:
    """An animal that may be shown by itself. Steps are means of its looks, or None."""

    animal: int
    words: str
    mark: str
    herd: int
    surface: float | None
    undercolor: float | None
    reach: float | None
    looks: int
    keys: list = field(default_factory=list)

    @property
    def both(self):
        return self.surface is not None and self.undercolor is not None


def open_herds(member):
    """The keys of the herds whose finished looks the member may see one by one: the same as Look.visible_to."""
    granted = Herd.objects.granted_to(member).values("pk")
    kept = Herd.objects.kept_by(member).values("pk")
    herds = Herd.objects.filter(Q(pk__in=kept) | Q(pk__in=granted) | Q(shares_looks=True))
    return list(herds.values_list("pk", flat=True))


@dataclass(frozen=True)
class Chosen:
    """The groups of a comparison, for a member: what is behind them, and the herds that are open to the member."""

    kind: object
    keys: list
    breeds: list
    open: list

    @cached_property
    def animals(self):
        """The behind.Animals of the groups. Two queries, for lines four, once."""
        return behind.read_animals(self.kind, self.keys, self.breeds)

    @cached_property
    def is_open(self):
        """Which of the animals (a,) have looks that the member may see one by one."""
        return self.animals.stand_in(self.open)

    @cached_property
    def looks(self):
        """The behind.Looks that are open, and all of them where the kind may count those that are not. Two queries."""
        return behind.read_looks(self.animals, self.is_open | self.kind.whole)

    def counting(self, key, whole=()):
        """Which of the animals (a,) count for a thing: its open ones; all, open or not, of a thing in `whole`."""
        mine = self.animals.of[key]
        return mine if key in whole else mine & self.is_open


def rows_of(query, params):
    with connection.cursor() as cursor:
        cursor.execute(query, params)
        names = [column.name for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def counts(chosen):
    """How many looks there are, by thing and by what kind of look they are.

    Returns (of_thing, of_cell): dicts of (key, scope) and (key, scope, age, coat, mode) to Counts, where scope is
    'open' for what the member may see look by look and 'all' for everything (only for kinds that may count it).
    """
    of_thing, of_cell = {}, {}
    for key in chosen.keys:
        mine = _counted(chosen.looks, chosen.counting(key))
        every = _counted(chosen.looks, chosen.counting(key, [key])) if chosen.kind.whole else mine
        for scope, (together, by_cell) in (("all", every), ("open", mine)):
            if together.looks:
                of_thing[key, scope] = together
            for cell, number in zip(chosen.looks.cells, by_cell, strict=True):
                if number.looks:
                    of_cell[(key, scope, *cell)] = number
    return of_thing, of_cell


def _counted(looks, animals):
    """(Counts of all the looks at `animals`, bool (a,), list of the Counts of each cell)."""
    which = animals[looks.place]
    place, cell, size = looks.place[which], looks.cell[which], len(looks.cells)
    codes = looks.codes
    of_each = (place, codes["dam"][place], codes["herd"][place], codes["observer"][which])
    different = [_different(cell, what, size) for what in of_each]
    by_cell = zip(np.bincount(cell, minlength=size).tolist(), *(each for _, each in different), strict=True)
    return Counts(len(cell), *(number for number, _ in different)), [Counts(*numbers) for numbers in by_cell]


def _different(cell, what, size):
    """(how many different `what` there are, list of how many each of `size` cells has); -1 is none."""
    there = np.zeros((size, int(what.max(initial=-1)) + 2), bool)
    there[cell, what] = True  # -1 is the last column
    known = there[:, :-1]
    return int(np.count_nonzero(known.any(axis=0))), np.count_nonzero(known, axis=1).tolist()


def figures(chosen, footing, whole, shares, *, by_look=False):
    """{(key, trait id): Figure} of everything that was graded, of the `shares` of animals. One query.

    shares : dict of key to how much of its animals is drawn, 0 to 1; the same animals each time.
    """
    looks, animals, which = chosen.looks, chosen.animals, {}
    for key in chosen.keys:
        seen = looks.many(looks.fit(footing, chosen.counting(key, whole))) > 0
        which[key] = seen & animals.drawn(shares.get(key, 1))
    summed = np.flatnonzero(np.any(list(which.values()), axis=0))
    given = read_steps(animals.animal[summed], footing)
    looks_of, means = given.by_animal(len(summed))
    herd = looks.codes["herd"][summed]
    found = {}
    for key, drawn in which.items():
        mine = drawn[summed]
        rows = given.step[mine[given.place]] if by_look else means[mine]
        for column, (trait, (n, mean, sd)) in enumerate(zip(given.traits.tolist(), columns(rows), strict=True)):
            told = ~np.isnan(rows[:, column])
            if by_look and n:
                found[key, trait] = Figure(n, 1, 1, mean, sd, float(rows[told, column][-1]))
            elif n:
                herds = np.unique(herd[mine][told])
                many = int(looks_of[mine, column].sum())
                found[key, trait] = Figure(many, n, int(np.count_nonzero(herds >= 0)), mean, sd)
    return found


def planes(chosen, footing, whole):
    """{key: Plane} of the looks' summaries, each animal once."""
    found = {}
    for key in chosen.keys:
        which = chosen.looks.fit(footing, chosen.counting(key, whole))
        if which.any():
            surface, undercolor, reach = chosen.looks.means(which)
            both = ~np.isnan(surface + undercolor)
            n = int(np.count_nonzero(both))
            covariance = np.cov(surface[both], undercolor[both]).tolist() if n >= 3 else None
            found[key] = Plane(n, _mean(surface), _mean(undercolor), _mean(reach), covariance)
    return found


def _mean(values):
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else None


def individuals(chosen, footing, per_thing):
    """At most `per_thing` animals of each thing that the member may see by themselves, those looked at last first.

    Returns a list of Individual in that order, an animal of two things once with both keys. One query.
    """
    looks, ranked = chosen.looks, []
    for turn, key in enumerate(chosen.keys):
        which = looks.fit(footing, chosen.counting(key))
        means, many, last = looks.means(which), looks.many(which), looks.last(which)
        seen = np.flatnonzero(many)
        without = np.isnan(means[0] + means[1])
        first = seen[np.lexsort((-seen, -last[seen], without[seen]))[:per_thing]]  # rows ascend with the keys
        shown = (chosen.animals.animal[first], *(mean[first] for mean in means), many[first])
        rows = zip(*(column.tolist() for column in shown), strict=True)
        ranked += [(place, turn, key, *row) for place, row in enumerate(rows)]
    found = rows_of(
        "SELECT id, mark_text, name, herd_id FROM herds_animal WHERE id = ANY (%s::bigint[])",
        [array_text([row[3] for row in ranked])],
    )
    named = {row["id"]: row for row in found}
    animals: dict = {}
    for _, _, key, animal, *summed, many in sorted(ranked, key=lambda row: row[:2]):
        if animal not in animals and animal in named:
            row = named[animal]
            words = " ".join(filter(None, (row["mark_text"], row["name"]))) or f"animal {animal}"
            mark = row["mark_text"] or row["name"] or f"animal {animal}"
            summed = (None if np.isnan(value) else value for value in summed)
            animals[animal] = Individual(animal, words, mark, row["herd_id"], *summed, many)
        if animal in animals:
            animals[animal].keys.append(key)
    return list(animals.values())
