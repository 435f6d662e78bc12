"""What one grader does with one trait, beside what all see together."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .consensus import Consensus, consensus
from .errors import WrongInput
from .estimates import ROUNDING, Estimate, none_because
from .intervals import mean_difference, partial_slope, ratio_of_spreads, scatter_of_repeats, share
from .intraclass import intraclass_correlation
from .kappa import weighted_kappa
from .reading import Numbers, Steps, answers, scale, table


@dataclass(frozen=True)
class GraderProfile:
    """One grader, one trait. Differences are in steps; above 0 means a higher step than the others see.

    cannot_tell : share of the photos shown, 0 to 1. steps_used : (step, times) of every step given, rising.
    lean : mean difference to the consensus. spread : standard deviation of the steps over that of the others'
    consensus; scatter raises it a little above 1 even in a good grader. agreement : quadratic weighted kappa with the others'
    consensus, rounded to steps; correlation : ICC(2,1) with it, not rounded. scatter : standard deviation beside lean,
    from the model, None if not told. weight : share in the consensus, 0 to 1.
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
    Against the consensus count scored photos only, and against the others' consensus the grader's answers do not.
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
    scored = np.where(agreed.scored, own, np.nan)
    others = agreed.of_others(grader)
    used, times = np.unique(own[~np.isnan(own)], return_counts=True)
    scatter = float(agreed.scatter[grader])
    return GraderProfile(
        grader=grader,
        cannot_tell=share(int((seen & np.isnan(own)).sum()), int(seen.sum())),
        steps_used=tuple(zip(used.tolist(), times.tolist(), strict=True)),
        lean=_lean(scored, agreed, grader),
        spread=ratio_of_spreads(scored, others),
        agreement=weighted_kappa(scored, _nearest(others, on), on),
        correlation=intraclass_correlation(np.column_stack([scored, others]), "2,1"),
        scatter=None if np.isnan(scatter) else scatter,
        weight=float(agreed.weight[grader]),
        self_agreement=_unless_none(again, "No photo was shown twice.") or weighted_kappa(own, second, on),
        self_scatter=_unless_none(again, "No photo was shown twice.") or scatter_of_repeats(own, second),
        drift=_unless_none(last_year, "No photo is shared with last year.")
        or mean_difference(own, before, 2 * ROUNDING),
        halo=_unless_none(type_steps, "No type was graded.") or partial_slope(scored - others, type_step, others),
    )


def _lean(scored: Numbers, agreed: Consensus, grader: int) -> Estimate:
    if agreed.group[grader] < 0:
        return none_because("Nobody else graded a photo that this grader graded, so there is no lean to tell.")
    return mean_difference(scored, agreed.value)


def _beside(given: ArrayLike | None, photos: int, of: str, steps: Numbers | None) -> Numbers:
    """Answers beside the scores, all NaN if there are none."""
    values = np.full(photos, np.nan) if given is None else answers(given, of, steps)
    if len(values) != photos:
        raise WrongInput(f"{of} are {len(values)} and the photos {photos}: give one each, NaN where there is none.")
    return values


def _unless_none(given: ArrayLike | None, why: str) -> Estimate | None:
    return none_because(why) if given is None else None


def _nearest(values: Numbers, steps: Numbers) -> Numbers:
    """Each value's nearest step, NaN kept."""
    known = ~np.isnan(values)
    rounded = np.full_like(values, np.nan)
    rounded[known] = steps[np.abs(values[known][:, None] - steps[None, :]).argmin(axis=1)]
    return rounded
