"""From the answers of a set to what it tells of all graders together and of each; arrays and dataclasses.

Photos that an owner took back count for nothing, nor do their answers. A double's answer is the second answer to the
item that it repeats, and stands in no consensus.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from grading import agreement
from grading.models import CalibrationAnswer, CalibrationItem, Seat

from .choosing import photos_of_last

ENOUGH = 0.8  # of the questions: from there on a result counts; common practice, no source
MOST_PAIRS = 300


@dataclass(frozen=True, eq=False)
class Answers:
    """One set's answers. items, seats : keys in order. steps : trait key -> float (items, seats), NaN for none.

    told : trait key -> bool, whether anything was answered, 'cannot tell' included. again, last_year : as `steps`, the
    answers to doubles and to the same photos in last year's set. doubled : bool (items,).
    """

    items: list
    seats: list
    steps: dict
    told: dict
    again: dict
    last_year: dict
    doubled: np.ndarray


def read(of_set, traits):
    """Answers of a set, standing items only. Five queries."""
    standing = list(of_set.items.standing().order_by("position").values_list("pk", "again_of"))
    kept = {pk for pk, _ in standing}
    items = [pk for pk, again in standing if again is None]
    place = {pk: i for i, pk in enumerate(items)}
    double = {pk: place[again] for pk, again in standing if again in kept and again in place}
    seats = list(Seat.objects.filter(of=of_set).order_by("pk").values_list("pk", "member"))
    column = {pk: k for k, (pk, _) in enumerate(seats)}
    shape = (len(items), len(seats))
    steps, again, before = ({trait.pk: np.full(shape, np.nan) for trait in traits} for _ in range(3))
    told = {trait.pk: np.zeros(shape, dtype=bool) for trait in traits}
    rows = CalibrationAnswer.objects.filter(seat__of=of_set, trait__in=steps)
    for item, seat, trait, step in rows.values_list("item", "seat", "trait", "step"):
        value = np.nan if step is None else float(step)
        if item in place:
            steps[trait][place[item], column[seat]] = value
            told[trait][place[item], column[seat]] = True
        elif item in double:
            again[trait][double[item], column[seat]] = value
    _read_before(of_set, items, {member: column[pk] for pk, member in seats}, before)
    doubled = np.zeros(len(items), dtype=bool)
    doubled[list(double.values())] = True
    return Answers(items, [pk for pk, _ in seats], steps, told, again, before, doubled)


def _read_before(of_set, items, column, before):
    """Fill in what the same members answered to the same photos in last year's set."""
    last = photos_of_last(of_set.breed_id, of_set.opens_on)
    if not last:
        return
    photos: dict = {}
    pairs = CalibrationItem.photos.through.objects.filter(calibrationitem__in=items)
    for item, photo in pairs.values_list("calibrationitem", "photo"):
        photos.setdefault(item, set()).add(photo)
    place = {item: i for i, item in enumerate(items)}
    same = {last[frozenset(keys)]: place[item] for item, keys in photos.items() if frozenset(keys) in last}
    rows = CalibrationAnswer.objects.filter(item__in=same, seat__member__in=column, step__isnull=False)
    for item, member, trait, step in rows.values_list("item", "seat__member", "trait", "step"):
        if trait in before:
            before[trait][same[item], column[member]] = step


@dataclass
class Worked:
    """What a trait's answers tell: the consensus, agreement between graders, and each seat's profile."""

    truth: agreement.Consensus | None
    together: dict
    profiles: list = field(default_factory=list)


def work_out(answers, traits):
    """{trait key: Worked}. A trait that nobody graded, or one grader alone, has no consensus and says so."""
    truths = {
        trait.pk: agreement.consensus(answers.steps[trait.pk]) if answers.seats and answers.items else None
        for trait in traits
    }
    type_steps = type_of(traits, truths)
    return {trait.pk: _of_trait(answers, trait, truths[trait.pk], type_steps) for trait in traits}


def type_of(traits, truths):
    """(items,) the mean of the type traits' consensus, for the halo of type on colour; None where none was asked."""
    values = [truths[trait.pk].value for trait in traits if trait.section == 4 and truths[trait.pk] is not None]
    if not values:
        return None
    known = ~np.isnan(values)
    count = known.sum(axis=0)
    return np.divide(np.nansum(values, axis=0), count, out=np.full(count.shape, np.nan), where=count > 0)


def _of_trait(answers, trait, truth, type_steps):
    scores, steps = answers.steps[trait.pk], np.array(list(trait.steps), dtype=float)
    worked = Worked(truth, together_of(scores, steps))
    if truth is None:
        return worked
    halo = None if trait.section == 4 else type_steps
    for seat in range(len(answers.seats)):
        worked.profiles.append(
            agreement.grader_profile(
                scores,
                seat,
                steps,
                agreed=truth,
                shown=answers.told[trait.pk][:, seat],
                again=answers.again[trait.pk][:, seat],
                last_year=answers.last_year[trait.pk][:, seat],
                type_steps=halo,
            )
        )
    return worked


def pairs_of(graders):
    """Pairs of graders, (one, other); of more than MOST_PAIRS as many, drawn, so that no grader stands in most."""
    one, other = np.triu_indices(graders, 1)
    if len(one) > MOST_PAIRS:
        drawn = np.sort(np.random.default_rng(graders).choice(len(one), MOST_PAIRS, replace=False))
        one, other = one[drawn], other[drawn]
    return list(zip(one.tolist(), other.tolist(), strict=True))


def together_of(scores, steps):
    """How alike the graders are: alpha, ICC(2,1), and the mean kappa over pairs of graders, as plain data."""
    kappas = [
        agreement.weighted_kappa(scores[:, one], scores[:, other], steps).value
        for one, other in pairs_of(scores.shape[1])
    ]
    known = [value for value in kappas if value is not None]
    return {
        "alpha": plain(agreement.krippendorff_alpha(scores, "ordinal")),
        "icc": plain(agreement.intraclass_correlation(scores, "2,1")),
        "kappa": {
            "value": sum(known) / len(known) if known else None,
            "low": min(known) if known else None,
            "high": max(known) if known else None,
            "n": len(known),
            "note": "" if known else "No two graders answered enough of the same photos for a kappa.",
        },
    }


def plain(estimate):
    """An Estimate as JSON: an end without a limit is none."""
    ends = [None if end is None or not math.isfinite(end) else float(end) for end in (estimate.low, estimate.high)]
    value = None if estimate.value is None else float(estimate.value)
    return {"value": value, "low": ends[0], "high": ends[1], "n": int(estimate.n), "note": estimate.note}


FIGURES = (
    "cannot_tell", "lean", "spread", "agreement", "correlation", "self_agreement", "self_scatter", "drift", "halo",
)  # fmt: skip


def profile_data(profile):
    """A GraderProfile as JSON."""
    data = {name: plain(getattr(profile, name)) for name in FIGURES}
    data["steps_used"] = [[int(step), int(times)] for step, times in profile.steps_used]
    data["scatter"] = profile.scatter
    data["weight"] = float(profile.weight)
    return data


def answered_share(answers, seat):
    """How much of what was asked a seat answered, 'cannot tell' included; 0 for an empty set."""
    asked = sum(told[:, seat].size for told in answers.told.values())
    return sum(int(told[:, seat].sum()) for told in answers.told.values()) / asked if asked else 0.0
