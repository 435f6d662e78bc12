"""What stands behind a comparison, read once into arrays: the animals of its things, and the looks at them."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from clubsite.columns import array_text, columns_of
from grading.models import AgeClass, CoatStage, Mode

LOTS = 65536  # a power of two
COATS = ("", *CoatStage.values)
MODES = tuple(Mode.values)
SUMMED = ("surface", "undercolor", "reach")


@dataclass(frozen=True)
class Animals:
    """The animals behind the things of a comparison, each once.

    animal : int64 (a,), ascending. herd, dam : int64 (a,), -1 for none; the herd is where the animal stands. lot : int
    (a,), 0 to LOTS - 1, the same at all times. inbreeding : float (a,), NaN while it is computed. pictured : bool (a,),
    whether there is a photo of it, whoever may see that. of : {key of a thing: bool (a,), its animals}.
    """

    animal: np.ndarray
    herd: np.ndarray
    dam: np.ndarray
    lot: np.ndarray
    inbreeding: np.ndarray
    pictured: np.ndarray
    of: dict

    def __len__(self):
        return len(self.animal)

    def stand_in(self, herds):
        """Which of the animals (a,) stand in one of the herds."""
        return np.isin(self.herd, np.array(herds, np.int64))

    def drawn(self, share):
        """Which of the animals (a,) are in a draw of so much of them, 0 to 1; a smaller draw is part of it."""
        return self.lot < round(share * LOTS)

    def pairs(self, which):
        """(keys, rows), int64 (p,): each thing with each of its animals that are in `which`, {key: bool (a,)}."""
        rows = [np.flatnonzero(mine) for mine in which.values()]
        keys = [np.full(len(each), key, np.int64) for key, each in zip(which, rows, strict=True)]
        return np.concatenate(keys), np.concatenate(rows)

    def texts(self, which):
        """Texts of two PostgreSQL arrays, the keys and the animals of `pairs`."""
        keys, rows = self.pairs(which)
        return [array_text(keys), array_text(self.animal[rows])]


def read_animals(kind, keys, breeds):
    """The Animals of things of a Kind; of `breeds` only, unless the kind takes any. Two queries; for lines, four."""
    thing, animal = kind.animals(keys)
    every = np.unique(animal)
    of_breed, params = ("AND a.breed_id = ANY (%s)", [breeds]) if kind.of_breed else ("", [])
    found = columns_of(
        f"""
        SELECT a.id AS animal, a.herd_id AS herd, a.dam_id AS dam, hashint8(a.id) & {LOTS - 1} AS lot,
               f.value AS inbreeding,
               EXISTS (SELECT 1 FROM grading_photo p WHERE p.animal_id = a.id)::int AS pictured
        FROM herds_animal a LEFT JOIN pedigrees_inbreeding f ON f.animal_id = a.id
        WHERE a.id = ANY (%s::bigint[]) {of_breed}
        """,  # noqa: S608 - constants of this file
        [array_text(every), *params],
        animal="int8", herd="int8", dam="int8", lot="int4", inbreeding="float8", pictured="int2",
    )  # fmt: skip
    order = np.argsort(found["animal"], kind="stable")
    found = {name: column[order] for name, column in found.items()}
    found["pictured"] = found["pictured"] == 1
    return Animals(**found, of={key: np.isin(found["animal"], animal[thing == key]) for key in keys})


@dataclass(frozen=True)
class Looks:
    """Current looks at the Animals of a comparison, as columns (l,).

    place : which of the (a,) animals. observer. cell : which of `cells`, a list of (age class, coat stage, mode). day :
    a number that grows with the day. surface, undercolor, reach : NaN where not told.
    """

    animals: Animals
    place: np.ndarray
    observer: np.ndarray
    cell: np.ndarray
    cells: list
    day: np.ndarray
    surface: np.ndarray
    undercolor: np.ndarray
    reach: np.ndarray

    @cached_property
    def codes(self):
        """Dam and herd of the animals (a,) and observer (l,) as places in a list of those there are, -1 for none."""
        return {"dam": _coded(self.animals.dam), "herd": _coded(self.animals.herd), "observer": _coded(self.observer)}

    def fit(self, footing, animals):
        """Which of the looks (l,) are at one of `animals`, bool (a,), and count on a footing."""
        which = animals[self.place]
        if footing.like:
            wanted = (footing.age, footing.coat, Mode.IN_HAND.value)
            which &= np.array([cell == wanted for cell in self.cells], bool)[self.cell]
        return which

    def many(self, which=slice(None)):
        """How many of the looks `which`, bool (l,), are at each of the animals, (a,)."""
        return np.bincount(self.place[which], minlength=len(self.animals))

    def means(self, which):
        """[(a,) for each of SUMMED] of each animal's looks `which`, bool (l,); NaN where none of them tells it."""
        found, place = [], self.place[which]
        for name in SUMMED:
            value = getattr(self, name)[which]
            told = ~np.isnan(value)
            many = np.bincount(place[told], minlength=len(self.animals))
            total = np.bincount(place[told], weights=value[told], minlength=len(many))
            found.append(np.divide(total, many, out=np.full(len(many), np.nan), where=many > 0))
        return found

    def last(self, which):
        """The day of the last of the looks `which`, bool (l,), at each of the animals, (a,)."""
        day = np.full(len(self.animals), np.iinfo(np.int32).min, np.int32)
        np.maximum.at(day, self.place[which], self.day[which])
        return day


def read_looks(animals, which):
    """The Looks at `which` of the Animals, bool (a,). Two queries."""
    ages = dict(AgeClass.objects.values_list("pk", "code"))
    coats = " ".join(f"WHEN '{coat}' THEN {place}" for place, coat in enumerate(COATS))
    modes = " ".join(f"WHEN '{mode}' THEN {place}" for place, mode in enumerate(MODES))
    found = columns_of(
        f"""
        SELECT l.animal_id AS animal, l.observer_id AS observer, l.age_class_id AS age,
               {len(MODES)} * CASE l.coat_stage {coats} END + CASE l.mode {modes} END AS stage,
               l.observed_on - date '2000-01-01' AS day, l.surface, l.undercolor, l.reach
        FROM grading_look l WHERE l.current AND l.animal_id = ANY (%s::bigint[])
        """,  # noqa: S608 - constants of this file
        [array_text(animals.animal[which])],
        animal="int8", observer="int8", age="int8", stage="int2", day="int4", surface="float8", undercolor="float8",
        reach="float8",
    )  # fmt: skip
    place = np.searchsorted(animals.animal, found.pop("animal"))
    cell, cells = _cells(found.pop("age"), found.pop("stage"), ages)
    return Looks(animals, place, cell=cell, cells=cells, **found)


def _cells(age, stage, ages):
    """(code of each look's cell, list of cells); age classes of one code in several editions are one."""
    codes = sorted({"", *ages.values()})
    place = np.zeros(max(ages, default=0) + 2, np.int64)  # the last is for -1, not known: "", the first of the codes
    for key, code in ages.items():
        place[key] = codes.index(code)
    cell = place[age] * (len(COATS) * len(MODES)) + stage
    cells = [(code, coat, mode) for code in codes for coat in COATS for mode in MODES]
    there = np.bincount(cell, minlength=len(cells)) > 0
    return (np.cumsum(there) - 1)[cell], [cell for cell, is_there in zip(cells, there, strict=True) if is_there]


def _coded(keys):
    known = np.unique(keys)
    known = known[known >= 0]
    return np.where(keys < 0, -1, np.searchsorted(known, keys))
