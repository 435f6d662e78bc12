"""How a sire's progeny were graded: what the model takes away for grader, coat, age and season, and what is left.

For the looks at his progeny that went into the run, in steps,

    their mean - mean of all the breed's looks
        = sum over the effects of (mean effect of their levels)         the effects average 0 over all looks
        + (merit of the sire - M) / 2  +  (mean merit of the dams - M) / 2
        + the rest,

where M is the mean merit of the breed's looks (each parent hands on half of what sets it apart). The rest is what the
draw of the genes, rearing and each look's own error add; a share of a parent's gift that the run does not believe yet
for want of looks is in it too. Each look counts once, as in the run.
"""

from dataclasses import dataclass, field

import numpy as np
from django.db.models import Avg

from grading.figures import WITHIN
from grading.level_words import EFFECT_WORDS, level_words
from grading.models import Answer, CoatStage, Merit
from grading.running.reading import EFFECTS, OLDEST_QUARTER, QUARTER_DAYS


@dataclass(frozen=True, eq=False)
class ProgenyLooks:
    """Looks at a sire's progeny as columns, int (r,), -1 unknown. level : effect -> list of r level keys as a run has
    them. finished : (r,) seconds, to tell which went into a run."""

    look: np.ndarray
    animal: np.ndarray
    dam: np.ndarray
    herd: np.ndarray
    observer: np.ndarray
    finished: np.ndarray
    level: dict

    def __len__(self):
        return len(self.look)


def read_looks(looks):
    """ProgenyLooks of a queryset of looks. One query."""
    fields = (
        "pk", "animal_id", "animal__dam_id", "herd_id", "observer_id", "observed_on", "age_days", "coat_stage",
        "mode", "finished_at",
    )  # fmt: skip
    rows = list(looks.order_by("pk").values_list(*fields))
    keys = np.array([[key or -1 for key in row[:5]] for row in rows], dtype=np.int64).reshape(-1, 5)
    levels = [levels_of(*row[4:9]) for row in rows]
    return ProgenyLooks(
        *keys.T,
        finished=np.array([row[9].timestamp() for row in rows]),
        level={effect: [each[place] for each in levels] for place, effect in enumerate(EFFECTS)},
    )


def levels_of(observer, day, age_days, coat, mode):
    """The level keys of a look in the order of EFFECTS, as grading.running.reading makes them."""
    quarter = -1 if age_days is None else min(int(age_days / QUARTER_DAYS), OLDEST_QUARTER)
    return (
        f"{observer or -1}:{day.year}",
        mode,
        str(quarter),
        coat if coat in CoatStage.values else "",
        f"{day.year}:{2 if day.month > 6 else 1}",
    )


def read_steps(looks, traits):
    """{trait key: (places in `looks` (k,), step of each (k,))}, places of the coat averaged. One query."""
    rows = Answer.objects.filter(look__in=looks.look.tolist(), trait__in=traits, step__isnull=False).order_by()
    found = list(rows.values_list("trait_id", "look_id").annotate(step=Avg("step")))
    table = np.array(found, dtype=float).reshape(-1, 3)
    trait, place = table[:, 0].astype(np.int64), np.searchsorted(looks.look, table[:, 1].astype(np.int64))
    return {int(key): (place[trait == key], table[trait == key, 2]) for key in np.unique(trait)}


@dataclass(frozen=True)
class ParentMerits:
    """Merits of a sire and his dams: values {evaluation key: {animal: (value, reliability)}}, and what may be shown."""

    values: dict
    shows_sire: bool
    shows_dams: bool


def read_parents(standing, sire, looks, member, club):
    """ParentMerits of a sire and the dams of these looks. Two queries.

    The mean of the dams is shown when the member may see each of them, or when the dams are many enough not to give
    one away.
    """
    dams = set(looks.dam[looks.dam >= 0].tolist())
    evaluations = [each.pk for each in standing.traits.values()]
    rows = Merit.objects.filter(animal__in=[sire.pk, *dams], evaluation__in=evaluations)
    values: dict = {}
    herds = {}
    for evaluation, animal, herd, value, reliability in rows.values_list(
        "evaluation_id", "animal_id", "animal__herd_id", "value", "reliability"
    ):
        values.setdefault(evaluation, {})[animal] = (value, reliability)
        herds[animal] = herd
    seen = set(rows.visible_to(member).values_list("animal_id", flat=True).distinct())
    known = dams & set(herds)
    many = len(known) >= club.smallest_group_animals
    many = many and len({herds[dam] for dam in known} - {None}) >= club.smallest_group_herds
    return ParentMerits(values, sire.pk in seen, bool(known) and (many or known <= seen))


@dataclass(frozen=True)
class Level:
    """A level of an effect: how many of his looks, its share of them and of all looks, and what it adds, in steps."""

    words: str
    looks: int
    share: float
    share_of_all: float
    steps: float


@dataclass(frozen=True)
class Part:
    """What one effect adds to the mean of his looks beyond the breed's, in steps, and its levels, most looks first."""

    effect: str
    steps: float
    levels: list
    graders: int = 0
    age_lead: float = 0.0  # mean age of his looks less that of all, in years

    @property
    def title(self):
        return EFFECT_WORDS[self.effect]


@dataclass(frozen=True)
class TakenAway:
    """One trait of a sire's progeny, in steps.

    difference : their mean less the breed's; error : its standard error, kits drawn anew. own, dams : None where they
    may not be shown; then the rest holds them. left_out : looks newer than the run.
    """

    trait: object
    looks: int
    kits: int
    herds: int
    mean: float
    breed_mean: float
    breed_looks: int
    error: float | None
    parts: list = field(default_factory=list)
    own: float | None = None
    own_error: float | None = None
    dams: float | None = None
    dams_count: int = 0
    dams_unknown: int = 0
    left_out: int = 0

    @property
    def difference(self):
        return self.mean - self.breed_mean

    @property
    def low(self):
        return None if self.error is None else self.difference - WITHIN * self.error

    @property
    def high(self):
        return None if self.error is None else self.difference + WITHIN * self.error

    @property
    def taken(self):
        """What grader, coat, age, mode and season make together."""
        return sum(part.steps for part in self.parts)

    @property
    def left(self):
        """What is left for the animals."""
        return self.difference - self.taken

    @property
    def rest(self):
        return self.left - (self.own or 0.0) - (self.dams or 0.0)

    @property
    def own_low(self):
        return self.own - WITHIN * self.own_error

    @property
    def own_high(self):
        return self.own + WITHIN * self.own_error


def taken_away(evaluation, looks, steps, sire, parents, names):
    """TakenAway of one trait, or None when no look at his progeny that went into the run tells it.

    steps : (places in looks, step of each) as read_steps gives them. names : graders that may be named.
    """
    place, step = steps
    began = evaluation.run.began_at
    went_in = looks.finished[place] <= began.timestamp() if began else np.ones(len(place), bool)
    tables = {effect: evaluation.fixed.get(effect) or {} for effect in EFFECTS}
    levels = {effect: [looks.level[effect][row] for row in place] for effect in EFFECTS}
    for effect, table in tables.items():
        if table:
            went_in &= np.array([_known(table, key) for key in levels[effect]], dtype=bool)
    if not went_in.any():
        return None
    rows, value = place[went_in], step[went_in]
    kept = {effect: [key for key, yes in zip(levels[effect], went_in, strict=True) if yes] for effect in EFFECTS}
    own, dams = _parents(evaluation, looks, rows, sire, parents)
    return TakenAway(
        trait=evaluation.trait,
        looks=len(rows),
        kits=len(np.unique(looks.animal[rows])),
        herds=len(np.unique(looks.herd[rows][looks.herd[rows] >= 0])),
        mean=float(value.mean()),
        breed_mean=evaluation.mean,
        breed_looks=evaluation.looks,
        error=_error_of_mean(looks.animal[rows], value),
        parts=[_part(effect, tables[effect], kept[effect], names) for effect in EFFECTS if tables[effect]],
        left_out=int((~went_in).sum()),
        **own,
        **dams,
    )


def _known(table, key):
    return key in table and table[key][0] is not None


def _error_of_mean(animal, value):
    """Standard error of the mean of looks (r,) when kits are drawn anew: looks at one kit hang together."""
    _, kit = np.unique(animal, return_inverse=True)
    kits = kit.max() + 1
    if kits < 2:
        return None
    away = np.bincount(kit, value - value.mean())
    return float(np.sqrt((away**2).sum() * kits / (kits - 1)) / len(value))


def _part(effect, table, keys, names):
    """The Part of an effect over the levels of his looks. Levels that read alike are one."""
    level, count = np.unique(np.array(keys, dtype=object).astype(str), return_counts=True)
    his = dict(zip(level.tolist(), count.tolist(), strict=True))
    steps = sum(table[key][0] * looks for key, looks in his.items()) / len(keys)
    everything = sum(looks for _, looks in table.values())
    by_words: dict = {}
    for key, (each, looks) in table.items():
        if each is None:
            continue
        found = by_words.setdefault(level_words(effect, key, names), [0, 0, 0.0, 0.0])
        found[0] += his.get(key, 0)
        found[1] += looks
        found[2] += each * his.get(key, 0)
        found[3] += each * looks
    levels = [
        Level(words, n, n / len(keys), of_all / everything, (here / n) if n else (over / of_all if of_all else 0.0))
        for words, (n, of_all, here, over) in by_words.items()
    ]
    levels.sort(key=lambda each: (-each.looks, each.words))
    graders = len({key.partition(":")[0] for key in his}) if effect == "grader and year" else 0
    lead = _age_lead(table, his) if effect == "age" else 0.0
    return Part(effect, steps, levels, graders, lead)


def _age_lead(table, his):
    """Mean age of his looks less that of all looks whose age is known, in years; counted in quarters."""

    def mean(counts):
        known = [(int(key), looks) for key, looks in counts if int(key) >= 0]
        looks = sum(n for _, n in known)
        return sum(quarter * n for quarter, n in known) / looks / 4 if looks else None

    one, all_ = mean(his.items()), mean((key, looks) for key, (_, looks) in table.items())
    return 0.0 if one is None or all_ is None else one - all_


def _parents(evaluation, looks, rows, sire, parents):
    """What the sire and the dams add, as far as it may be shown."""
    values = parents.values.get(evaluation.pk, {})
    middle = evaluation.mean - evaluation.base
    own: dict = {}
    if parents.shows_sire and sire.pk in values:
        value, reliability = values[sire.pk]
        variance = evaluation.variances.get("animal") or 0.0
        own = {"own": (value - middle) / 2, "own_error": float(np.sqrt(max(1 - reliability, 0.0) * variance)) / 2}
    dams: dict = {}
    if parents.shows_dams:
        merit = [values.get(dam, (0.0, 0.0))[0] for dam in looks.dam[rows].tolist()]
        known = [dam in values for dam in looks.dam[rows].tolist()]
        dams = {
            "dams": (float(np.mean(merit)) - middle) / 2,
            "dams_count": len({dam for dam in looks.dam[rows].tolist() if dam in values}),
            "dams_unknown": int(len(known) - sum(known)),
        }
    return own, dams
