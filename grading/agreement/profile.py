"""What one grader does with one trait, beside what all see together."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .errors import WrongInput
from .estimates import ROUNDING, Estimate, none_because
from .intervals import mean_difference, partial_slope, ratio_of_spreads, scatter_of_repeats, share
from .intraclass import intraclass_correlation
from .kappa import weighted_kappa
from .reading import Numbers, Steps, answers, scale, table
from .truths import Consensus, consensus


@dataclass(frozen=True)
class GraderProfile:
    """One grader, one trait. Differences are in steps; above 0 means a higher step than the others see.

    cannot_tell : share of the photos shown, 0 to 1. steps_used : (step, times) of every step given, rising.
    lean : mean difference to the consensus. spread : standard deviation of the steps over that of the others'
    consensus; scatter raises it a little above 1 even in a good grader. agreement : quadratic weighted kappa with the
    others' consensus, rounded to steps; correlation : ICC(2,1) with it, not rounded. scatter : standard deviation
    beside lean, from the model, None if not told. weight : share in the consensus, 0 to 1.
    self_agreement : quadratic weighted kappa of first and second answers. self_scatter : standard deviation of one
    answer from them. drift : this year minus last year on shared photos.
    halo : steps of difference to the others that go with one step of type, where their colour step is the same.
    """

    grader: int
    cannot_tell: Estimate
    steps_used: tuple[tuple[float, int], ...]
    lean: Estimate
    spread: Estimate
    agreement: Estimate
    correlation: Estimate
    scatter: float | None
    weight: float
    self_agreement: Estimate
    self_scatter: Estimate
    drift: Estimate
    halo: Estimate


def grader_profile(
    scores: ArrayLike,
    grader: int,
    steps: Steps,
    *,
    agreed: Consensus | None = None,
    shown: ArrayLike | None = None,
    again: ArrayLike | None = None,
    last_year: ArrayLike | None = None,
    type_steps: ArrayLike | None = None,
) -> GraderProfile:
    """Profile of one grader (column of scores) from scores (photos, graders), NaN for 'cannot tell'.

    steps : the scale, as range(1, 10) or 9. agreed : the consensus of these scores, if it was worked out already.
    The rest has one value for each photo, (photos,), NaN where there is none. shown : whether the grader saw it.
    again : the grader's second answer to a photo shown twice. last_year : their answer to it last year.
    type_steps : the animal's type, best as all graders see it; needed for the halo, and on its own scale.
    Only scored photos are compared with the consensus, and the consensus of the others leaves this grader's answers
    out. The intervals of lean and halo still go by the scatter on all photos: leaving out the photos on which graders
    differ most, and then measuring scatter on the rest, would make them too narrow.
    """
    on = scale(steps)
    values = table(scores, on)
    if not 0 <= grader < values.shape[1]:
        raise WrongInput(f"There is no grader {grader} among {values.shape[1]}: count from 0.")
    if agreed is None:
        agreed = consensus(values)
    elif not np.array_equal(agreed.scores, values, equal_nan=True):
        raise WrongInput("The consensus is of other scores: work it out from the same ones.")
    own = values[:, grader]
    seen = np.ones(len(own), dtype=np.bool_) if shown is None else np.asarray(shown, dtype=np.bool_)
    second = _beside(again, len(own), "The second answers", on)
    before = _beside(last_year, len(own), "Last year's answers", on)
    type_step = _beside(type_steps, len(own), "The type steps", None)
    if seen.shape != own.shape:
        raise WrongInput(f"There are {len(own)} photos and {seen.size} marks of what was shown: give one each.")
    if (~np.isnan(own) & ~seen).any():
        raise WrongInput("A photo has an answer but is marked as not shown to the grader.")
    others = agreed.of_others(grader)
    compared = ~np.isnan(own) & ~np.isnan(others)
    scored = agreed.scored & compared
    step, beside = own[scored], others[scored]
    away = own[compared] - agreed.value[compared]
    scatter_of_all = max(float(away.var(ddof=1)) if len(away) > 1 else 0.0, ROUNDING)
    alone = None if scored.any() else none_because("This grader gave no step to a photo that can be scored.")
    used, times = np.unique(own[~np.isnan(own)], return_counts=True)
    scatter = float(agreed.scatter[grader])
    return GraderProfile(
        grader=grader,
        cannot_tell=share(int((seen & np.isnan(own)).sum()), int(seen.sum())),
        steps_used=tuple(zip(used.tolist(), times.tolist(), strict=True)),
        lean=alone or mean_difference(step, agreed.value[scored], scatter_of_all),
        spread=alone or ratio_of_spreads(step, beside),
        agreement=alone or weighted_kappa(step, _nearest(beside, on), on),
        correlation=alone or intraclass_correlation(np.column_stack([step, beside]), "2,1"),
        scatter=None if np.isnan(scatter) else scatter,
        weight=float(agreed.weight[grader]),
        self_agreement=_missing(own, second, "No photo was graded twice.") or weighted_kappa(own, second, on),
        self_scatter=_missing(own, second, "No photo was graded twice.") or scatter_of_repeats(own, second),
        drift=_missing(own, before, "No graded photo is shared with last year.")
        or mean_difference(own, before, 2 * ROUNDING),
        halo=alone
        or _missing(own, type_step, "No graded photo has a type step.")
        or partial_slope(own - others, type_step, others, agreed.scored),
    )


def _beside(given: ArrayLike | None, photos: int, of: str, steps: Numbers | None) -> Numbers:
    """Answers beside the scores, all NaN if there are none."""
    values = np.full(photos, np.nan) if given is None else answers(given, of, steps)
    if len(values) != photos:
        raise WrongInput(f"{of} are {len(values)} and the photos {photos}: give one each, NaN where there is none.")
    return values


def _missing(these: Numbers, those: Numbers, why: str) -> Estimate | None:
    """The reason, if no photo has both answers."""
    return none_because(why) if np.isnan(these + those).all() else None


def _nearest(values: Numbers, steps: Numbers) -> Numbers:
    """Each value's nearest step of the scale."""
    nearest: Numbers = steps[np.abs(values[:, None] - steps[None, :]).argmin(axis=1)]
    return nearest
