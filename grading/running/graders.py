"""What the yearly calibration tells a run: who stretches or narrows the scale, and whose lean the model sees otherwise.

In a calibration all graders see the same animals, so that a grader's use of the scale can be told from what their herd
is like; in the barn it cannot. So a grader's spread is put right only where a calibration whose time still runs says
that it is not the others', and the run says so.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from django.utils import timezone

from clubsite.members.models import Club
from grading import evaluation as model
from grading.figures import WITHIN, signed
from grading.models import GraderResult, SetState
from herds.words import count_words

NARROW, WIDE = 0.8, 1.25  # a spread beside the others' whose whole interval lies beyond these is put right
FEWEST_LOOKS = 20  # of a grader, for their own spread in the barn to be known at all
LEAST = 0.5  # steps: a smaller difference between the model's lean and the calibration's is not worth a word


@dataclass(frozen=True)
class Calibrated:
    """A grader's current result for a trait: lean with its standard error, spread with its interval (None untold)."""

    lean: float | None
    error: float | None
    spread_low: float | None
    spread_high: float | None

    @property
    def stretches(self):
        """Whether the calibration says for sure that the scale is used otherwise than by the others."""
        wide = self.spread_low is not None and self.spread_low > WIDE
        return wide or (self.spread_high is not None and self.spread_high < NARROW)


def current_results(breed_id, on=None):
    """{(member key, trait key): Calibrated} of calibrations whose time still runs, the newest of each. One query."""
    since = (on or timezone.localdate()) - timedelta(days=Club.current().calibration_days)
    rows = GraderResult.objects.filter(
        seat__of__breed=breed_id, seat__of__state=SetState.DONE, seat__of__closes_on__gte=since, seat__counts=True
    )
    names = ("seat__member", "trait", "lean", "lean_low", "lean_high", "spread_low", "spread_high")
    found = {}
    for member, trait, lean, low, high, narrow, wide in rows.order_by("seat__of__closes_on", "pk").values_list(*names):
        error = (high - low) / (2 * WITHIN) if low is not None and high is not None else None
        found[member, trait] = Calibrated(lean, error, narrow, wide)
    return found


def put_right(looks, values, results):
    """({trait key: steps (r,)}, {trait key: sentence}): spreads made the club's where a calibration says so."""
    right, said = dict(values), {}
    for trait, value in values.items():
        flagged = [member for (member, of), each in results.items() if of == trait and each.stretches]
        seen = looks.observer[~np.isnan(value)]
        flagged = [member for member in flagged if (seen == member).sum() >= FEWEST_LOOKS]
        if not flagged:
            continue
        try:
            right[trait], _ = model.even_spread(value, looks.observer, only=flagged)
        except model.EvaluationError:  # nobody ever gave two different steps: the run will say so itself
            continue
        said[trait] = (
            f"By the calibration {count_words(len(flagged), 'grader')} use{'s' if len(flagged) == 1 else ''} the scale "
            "of this trait more widely or more narrowly than the others; in this run their steps are drawn to the "
            "club's spread."
        )
    return right, said


def disagreements(leans, trait, results):
    """[(member key, the model's lean, the calibration's)] where they differ by more than their errors allow, in steps.

    leans : {member key as text: [steps, error, looks]} as a run keeps them. Both leans have a zero of their own, so
    what all graders differ by is taken out first.
    """
    rows = []
    for key, (value, error, _looks) in leans.items():
        known = results.get((int(key), trait))
        if value is not None and error is not None and known and known.lean is not None and known.error is not None:
            rows.append((int(key), value, known.lean, error**2 + known.error**2))
    if len(rows) < 3:  # with two, one cannot say whose zero is off
        return []
    member, seen, calibrated, variance = (np.array(column) for column in zip(*rows, strict=True))
    weight = 1 / variance
    away = seen - calibrated
    away = away - (weight @ away) / weight.sum()
    off = np.abs(away) > np.maximum(WITHIN * np.sqrt(variance), LEAST)
    return [(int(member[i]), float(calibrated[i] + away[i]), float(calibrated[i])) for i in np.flatnonzero(off)]


def off_words(found, names=None):
    """The sentence on graders whose lean the model sees otherwise than the calibration; '' where there is none.

    found : what `disagreements` gave. names : {member key: name} of those to be named, for officers.
    """
    if not found:
        return ""
    widest = max(abs(seen - calibrated) for _, seen, calibrated in found)
    who = [
        f"{names[member]} ({signed(seen, 1)} in the barn, {signed(calibrated, 1)} in the calibration)"
        for member, seen, calibrated in found
        if member in (names or {})
    ]
    named = f" They are: {', '.join(who)}." if who else ""
    return (
        f"In {count_words(len(found), 'grader')} the lean that the model finds and the one that the calibration found "
        f"differ by more than their errors allow, by up to {widest:.1f} steps. Either they grade otherwise in the barn "
        f"than from photos, or the model takes a bright or dark herd for its grader.{named}"
    )
