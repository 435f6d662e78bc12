"""Rows into arrays for the beliefs, and their figures over a whole breed, kept as grading/standing.py keeps such.

All stand on the same looks: in hand, in prime coat, at animals of eight months and more, since silvering is complete at
five to eight months (a breeder's page) and what is not yet complete says nothing of the grown coat.
"""

from dataclasses import dataclass, field

import numpy as np
from django.db.models import Avg

from grading import merits, standing, twoway
from grading.beliefs import numbers
from grading.models import Answer, CoatStage, LookFinding, Mode
from grading.running.reading import EFFECTS, OLDEST_QUARTER, QUARTER_DAYS
from grading.taken_away import levels_of
from herds.models import Kit, WhitePlace

GROWN_DAYS = 240
SENIOR_DAYS = 365  # fade is told from the first birthday on
SUMMARIES = ("surface", "undercolor", "reach")
TYPE = ("shoulder_depth", "midsection", "loin_width", "hindquarter_fill", "hindquarter_width", "body_depth")
# How many rows it takes before a figure is shown; our own choice, on the cautious side.
FEWEST_WHITE = 10  # grown animals in each of the two groups
FEWEST_ANIMALS = 30  # for how two traits go together
FEWEST_TYPED, FEWEST_TYPED_ANIMALS = 10, 8  # a grader's looks with type, at animals that others graded too
FEWEST_FADING = 5  # animals of a sire, looked at twice


@dataclass(frozen=True, eq=False)
class Grown:
    """Looks at grown animals as columns, (r,). sire, herd : -1 not known; litter : a code of the birth litter, or of
    the animal where it is not known. steps, right : name of SUMMARIES -> as graded, and with what the run found grader,
    season and age to add taken out; NaN not told. Without a run `right` is {}."""

    look: np.ndarray
    animal: np.ndarray
    sire: np.ndarray
    litter: np.ndarray
    herd: np.ndarray
    observer: np.ndarray
    age: np.ndarray
    steps: dict
    right: dict


@dataclass(frozen=True)
class Group:
    """How many animals of how many herds and litters."""

    animals: int
    herds: int
    litters: int = 0


@dataclass(frozen=True)
class White:
    """White on the head at birth. differences : (name, how) -> Effect, head-white kits less the others.

    molted : share of the head-white whose grown head was free of it. spots : shares with a white spot anywhere when
    grown, of the head-white and of the others.
    """

    looked: int
    marked: int
    white: Group
    others: Group
    molted: numbers.Effect
    spots: tuple
    differences: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Deep:
    """How surface goes with undercolor and reach. pairs : (name, how) -> (slope, correlation), of animals' means."""

    group: Group
    pairs: dict


@dataclass(frozen=True)
class Sway:
    """Surface given, less other graders', by a step of type. graders : member key -> (Effect, looks, animals)."""

    looks: int
    group: Group
    graders: dict


@dataclass(frozen=True)
class Fading:
    """Undercolor by age within animals. herds : sire key -> keys of the herds where his progeny stand, -1 for none."""

    group: Group
    slopes: numbers.Slopes
    herds: dict


@dataclass(frozen=True)
class Figures:
    """What the pages show of a breed; day : of the run whose grader, season and age effects were taken out, or None."""

    looks: int
    day: object
    genetic: tuple | None
    white: White
    deep: Deep
    sway: Sway
    fading: Fading


def figures_of(breed_id):
    """The Figures of a breed, as kept."""
    return standing.kept("beliefs", breed_id, read_breed)


def read_breed(breed_id):
    """(looks of the breed, its Figures) read from the database now."""
    found = merits.current(breed_id, leading=True)
    looks = twoway.current_looks(breed_id)
    grown = read_grown(looks, found)
    return looks.count(), Figures(
        looks=len(grown.look),
        day=found.run.ended_at if found else None,
        genetic=found.genetic if found else None,
        white=white_of(grown, *read_births(breed_id), read_spots(looks)),
        deep=deep_of(grown),
        sway=sway_of(grown, read_type(looks)),
        fading=fading_of(*read_seniors(grown, found)),
    )


def only_grown(looks):
    return looks.filter(mode=Mode.IN_HAND, coat_stage=CoatStage.PRIME, age_days__gte=GROWN_DAYS)


def read_grown(looks, found):
    """Grown looks of a queryset, and of a Standing's run what it takes away. One query."""
    fields = (
        "pk", "animal_id", "animal__sire_id", "animal__litter_id", "animal__herd_id", "observer_id", "age_days",
        *SUMMARIES, "observed_on", "coat_stage", "mode",
    )  # fmt: skip
    rows = list(only_grown(looks).order_by("pk").values_list(*fields))
    keys = np.array([[key or -1 for key in row[:6]] for row in rows], dtype=np.int64).reshape(-1, 6)
    keys[:, 3] = np.where(keys[:, 3] < 0, -1 - keys[:, 1], keys[:, 3])  # its own litter, as far as is known
    steps = np.array([row[7:10] for row in rows], dtype=float).reshape(-1, 3)
    levels = [levels_of(row[5], row[10], row[6], row[11], row[12]) for row in rows]
    right = {}
    for place, name in enumerate(SUMMARIES):
        evaluation = found and found.by_summary(name)
        if evaluation is not None:
            right[name] = steps[:, place] - taken(evaluation, levels)
    look, animal, sire, litter, herd, observer = keys.T
    return Grown(
        look, animal, sire, litter, herd, observer,
        np.array([row[6] for row in rows], dtype=float),
        {name: steps[:, place] for place, name in enumerate(SUMMARIES)},
        right,
    )  # fmt: skip


def taken(evaluation, levels, effects=EFFECTS):
    """(r,) what a run found effects to add to looks, by their levels in the order of EFFECTS; unknown ones: 0."""
    tables = [(EFFECTS.index(name), evaluation.fixed.get(name, {})) for name in effects]
    return np.array([sum((table.get(level[place]) or (0.0,))[0] or 0.0 for place, table in tables) for level in levels])


def means(grown, values):
    """(animals (k,), row of each look, mean of each animal's values), NaN where none was told."""
    animals, row = np.unique(grown.animal, return_inverse=True)
    told = ~np.isnan(values)
    count = np.bincount(row[told], minlength=len(animals))
    total = np.bincount(row[told], weights=values[told], minlength=len(animals))
    return animals, row, np.divide(total, count, out=np.full(len(animals), np.nan), where=count > 0)


def first_of(grown, column, animals):
    """A column's value for each of `animals`, which are unique and ascending."""
    order = np.unique(grown.animal, return_index=True)[1]
    assert len(order) == len(animals)
    return column[order]


def ways(grown, name):
    """('as graded' and 'put right', values) of a summary, as far as there are any."""
    yield "raw", grown.steps[name]
    if name in grown.right:
        yield "right", grown.right[name]


# --- white on the head at birth --------------------------------------------------------------------------------------


def read_births(breed_id):
    """({animal: whether its head was white}, kits looked at in all, of them white on the head). Three queries."""
    looked = Kit.objects.filter(litter__dam__breed=breed_id).exclude(white_at=[])
    rows = looked.filter(animal__isnull=False).values_list("animal_id", "white_at")
    head = WhitePlace.HEAD.value
    born = {animal: head in places for animal, places in rows}
    return born, looked.count(), looked.filter(white_at__contains=[head]).count()


def read_spots(looks):
    """{animal: (white found on the head, a white spot anywhere)} of grown animals that were checked. One query."""
    rows = LookFinding.objects.filter(look__in=only_grown(looks).values("pk"), kind__code="white_spot")
    rows = rows.exclude(state=LookFinding.State.NOT_CHECKED).order_by()
    found: dict = {}
    for animal, state, place in rows.values_list("look__animal_id", "state", "place"):
        seen = state == LookFinding.State.SEEN
        head, spot = found.get(animal, (False, False))
        found[animal] = (head or (seen and "head" in place), spot or seen)
    return found


def white_of(grown, born, looked, marked, spots):
    """White from grown looks, births and findings."""
    animals, _row, _ = means(grown, grown.steps["surface"])
    keep = np.isin(animals, list(born))
    white = np.array([born.get(animal, False) for animal in animals.tolist()], dtype=float)
    litter, herd = first_of(grown, grown.litter, animals), first_of(grown, grown.herd, animals)
    checked = [animal for animal in animals[keep & (white == 1)].tolist() if animal in spots]
    differences = {}
    for name in SUMMARIES:
        for how, values in ways(grown, name):
            mean = means(grown, values)[2]
            differences[name, how] = numbers.slope(white[keep], mean[keep], litter[keep])
            if how == ("right" if name in grown.right else "raw"):
                differences[name, "mates"] = beside_mates(white[keep], mean[keep], litter[keep])
    spotted = [[spots[key][1] for key in animals[keep & (white == value)].tolist() if key in spots] for value in (1, 0)]
    return White(
        looked=looked,
        marked=marked,
        white=_group(animals, herd, litter, keep & (white == 1)),
        others=_group(animals, herd, litter, keep & (white == 0)),
        molted=numbers.share(sum(not spots[animal][0] for animal in checked), len(checked)),
        spots=tuple(numbers.share(sum(group), len(group)) for group in spotted),
        differences=differences,
    )


def beside_mates(x, y, litter):
    """numbers.slope of kits beside their litter mates alone: of litters in which x differs."""
    keep = ~np.isnan(y)
    x, y = x[keep], y[keep]
    litters, code = np.unique(litter[keep], return_inverse=True)
    count = np.maximum(np.bincount(code, minlength=len(litters)), 1)
    x = x - (np.bincount(code, weights=x, minlength=len(litters)) / count)[code]
    y = y - (np.bincount(code, weights=y, minlength=len(litters)) / count)[code]
    mixed = np.bincount(code, weights=x * x, minlength=len(litters))[code] > 1e-9
    return numbers.slope(x[mixed], y[mixed], code[mixed])


def _group(animals, herd, litter, keep):
    herds = np.unique(herd[keep & (herd >= 0)])
    return Group(int(keep.sum()), len(herds), len(np.unique(litter[keep])))


# --- darker coats and undercolor -------------------------------------------------------------------------------------


def deep_of(grown):
    """Deep from grown looks: animals' means of undercolor and reach by those of surface shade."""
    animals = np.unique(grown.animal)
    litter, herd = first_of(grown, grown.litter, animals), first_of(grown, grown.herd, animals)
    pairs, told = {}, np.zeros(len(animals), dtype=bool)
    for name in ("undercolor", "reach"):
        for (how, surface), (_, other) in zip(ways(grown, "surface"), ways(grown, name), strict=False):
            x, y = means(grown, surface)[2], means(grown, other)[2]
            told |= ~np.isnan(x + y)
            pairs[name, how] = (numbers.slope(x, y, litter), numbers.correlation(x, y))
    return Deep(_group(animals, herd, litter, told), pairs)


# --- type and the color grade ----------------------------------------------------------------------------------------


def read_type(looks):
    """{look: mean step of body type} of grown looks. One query."""
    rows = Answer.objects.filter(look__in=only_grown(looks).values("pk"), trait__code__in=TYPE, step__isnull=False)
    return {look: float(step) for look, step in rows.order_by().values_list("look_id").annotate(step=Avg("step"))}


def sway_of(grown, build):
    """Sway from grown looks and {look: step of body type}. Other graders' own sway is taken out of what they gave."""
    surface = grown.right.get("surface", grown.steps["surface"])
    step = np.array([build.get(look, np.nan) for look in grown.look.tolist()], dtype=float)
    known = means(grown, step)[2][np.unique(grown.animal, return_inverse=True)[1]] if len(step) else step
    known = np.where(np.isnan(step), known, step)  # what others may have seen of an animal's type, without a step
    use = ~np.isnan(surface + known)
    surface, step, known, herd = surface[use], step[use], known[use], grown.herd[use]
    keys, row = np.unique(grown.animal[use], return_inverse=True)
    observers, grader = np.unique(grown.observer[use], return_inverse=True)
    if not len(keys):
        return Sway(0, Group(0, 0), {})
    less = surface - numbers.swayed(row, grader, known, surface)[grader] * (known - known.mean())
    pair = row * len(observers) + grader
    _, pair = np.unique(pair, return_inverse=True)
    total, count = np.bincount(row, weights=less)[row], np.bincount(row)[row]
    own, times = np.bincount(pair, weights=less)[pair], np.bincount(pair)[pair]
    others = np.divide(total - own, count - times, out=np.full(len(less), np.nan), where=count > times)
    off = surface - others
    usable = ~np.isnan(off + step)
    graders = {}
    for code in np.unique(grader[usable]).tolist():
        his = usable & (grader == code)
        effect = numbers.slope(step[his], off[his], row[his])
        graders[int(observers[code])] = (effect, int(his.sum()), len(np.unique(row[his])))
    group = Group(len(np.unique(row[usable])), len(np.unique(herd[usable & (herd >= 0)])))
    return Sway(int(usable.sum()), group, graders)


# --- fade by sire ----------------------------------------------------------------------------------------------------


def read_seniors(grown, found):
    """(animal, sire, herd, age in years, undercolor) of looks from the first birthday on; age is left in.

    What the run found of ages is the fade itself, so only grader and season are taken out.
    """
    old = grown.age >= SENIOR_DAYS
    y = grown.steps["undercolor"]
    evaluation = found and found.undercolor
    if evaluation is not None:
        y = grown.right["undercolor"] + _of_ages(evaluation, grown.age)
    return grown.animal[old], grown.sire[old], grown.herd[old], grown.age[old] / 365.25, y[old]


def _of_ages(evaluation, ages):
    """(r,) what a run found the age at each look to add."""
    table = evaluation.fixed.get("age", {})
    quarter = np.minimum((ages / QUARTER_DAYS).astype(int), OLDEST_QUARTER)
    return np.array([(table.get(str(key)) or (0.0,))[0] or 0.0 for key in quarter.tolist()])


def fading_of(animal, sire, herd, age, undercolor):
    """Fading from looks at seniors, (r,)."""
    animals, sxx, sxy = numbers.within(animal, age, undercolor)
    rows, first = np.unique(animal, return_index=True)
    at = first[np.searchsorted(rows, animals)] if len(animals) else np.array([], dtype=int)
    of, stands = sire[at], herd[at]
    herds: dict = {}
    for key, where in zip(of.tolist(), stands.tolist(), strict=True):
        if key >= 0:
            herds.setdefault(key, set()).add(where)
    group = Group(len(animals), len(np.unique(stands[stands >= 0])))
    return Fading(group, numbers.slopes(sxx, sxy, of, FEWEST_FADING), herds)
