"""What the graders together see on each photo, with each grader's lean taken off and the steady ones counting more.

    step = truth of the photo + lean of the grader + scatter, the scatter with a variance of each grader's own

Truths and leans are fixed; only differences between answers to the same photo tell about graders, so no shape of the
truths is assumed and a set of dark rabbits makes nobody dark. Alternating, until nothing moves:

* truths and leans by weighted least squares, weight = 1 / variance of the grader. A constant could move from all truths
  to all leans; it is fixed by letting the leans sum to zero by weight (number of answers / variance).
* variances by restricted likelihood: sum of a grader's squared residuals / (answers - what the fit itself took up),
  with PRIOR answers of everybody's pooled variance added, so that a few lucky answers make nobody perfect. No variance
  falls under a quarter of the pooled one, nor under 1/12 (what rounding to whole steps alone leaves): so no grader
  weighs over four times the usual one. With two graders the data cannot tell who is steadier, and both weigh the same.

Graders who share no photo, not even by way of others, have no common zero: each such group is fitted by itself.
Sources: the model is that of Grubbs (1948), Annals of Mathematical Statistics 19:243-264; the variances are those of
Patterson and Thompson (1971), Biometrika 58:545-554 (both from memory). Prior and floors are our own choice.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import connected_components

from .estimates import ROUNDING, counted
from .reading import Flags, Numbers, Steps, scale, table

PRIOR = 4.0  # answers of pooled variance that every grader starts with
SHARE = 0.25  # of the pooled variance: the lowest a grader's may be
NOTHING_LEFT = 1e-9  # answers beyond those that the fit takes up
MOST_ROUNDS = 500
SETTLED = 1e-9  # largest change of a variance, beside itself
APART = 2.0  # steps between the best graders that make a photo one to talk about
MOST_BEST = 3


@dataclass(frozen=True, eq=False)
class Consensus:
    """Truths of n photos and traits of k graders; NaN is 'cannot tell', and `notes` says why.

    value, error : (n,) steps, not rounded, and standard error. answers : (n,) how many graders gave a step.
    lean : (k,) steps above the consensus. scatter : (k,) standard deviation in steps beside lean.
    weight : (k,) share of a grader among those of the same group, 0 to 1. group : (k,) int, -1 without a shared photo.
    floored : (k,) whether a floor held the scatter up. scored : (n,) photos that graders may be measured by: two or
    more answers, not up for discussion, scatter known. discuss : (n,) photos on which the best graders are APART steps
    or more apart after their leans; the best are the better half by weight of those who answered, two at least and
    three at most.
    rounds, converged, change : of the alternation, the worst group's; change is relative.
    """

    value: Numbers
    error: Numbers
    answers: NDArray[np.int64]
    lean: Numbers
    scatter: Numbers
    weight: Numbers
    group: NDArray[np.int64]
    floored: Flags
    scored: Flags
    discuss: Flags
    rounds: int
    converged: bool
    change: float
    notes: tuple[str, ...]
    scores: Numbers = field(repr=False)

    def of_others(self, grader: int) -> Numbers:
        """The consensus without one grader's own answers, (n,), on the same zero; NaN where no other answered."""
        weight = np.where(np.isnan(self.lean), 0.0, self.weight)
        weight[grader] = 0.0
        weight[self.group != self.group[grader]] = 0.0
        told = ~np.isnan(self.scores) & (weight > 0)
        total = told @ weight
        above = np.where(told, self.scores - np.nan_to_num(self.lean), 0.0) @ weight
        value: Numbers = np.divide(above, total, out=np.full(len(total), np.nan), where=total > 0)
        return value


@dataclass(frozen=True, eq=False)
class _Fit:
    truth: Numbers
    truth_variance: Numbers
    lean: Numbers
    variance: Numbers
    weight: Numbers
    floored: Flags
    rounds: int
    change: float


def consensus(scores: ArrayLike, steps: Steps | None = None) -> Consensus:
    """Consensus of scores (photos, graders), NaN for 'cannot tell' or not shown: all answers are used.

    steps : the scale, to refuse answers off it. The scores must be in steps, one apart: floors and APART are too.
    """
    values = table(scores, None if steps is None else scale(steps))
    n, k = values.shape
    told = ~np.isnan(values)
    group = _groups(told)
    value, error = np.full(n, np.nan), np.full(n, np.nan)
    lean, scatter, weight = np.full(k, np.nan), np.full(k, np.nan), np.zeros(k)
    floored, guessed = np.zeros(k, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    rounds, change = 0, 0.0
    for number in range(int(group.max(initial=-1)) + 1):
        graders = np.flatnonzero(group == number)
        photos = np.flatnonzero(told[:, graders].any(axis=1))
        fit = _fitted(values[np.ix_(photos, graders)])
        value[photos], error[photos] = fit.truth, np.sqrt(fit.truth_variance)
        lean[graders], scatter[graders] = fit.lean, np.sqrt(fit.variance)
        weight[graders] = fit.weight / fit.weight.sum()
        floored[graders] = fit.floored
        guessed[photos] = np.isnan(fit.variance).all()
        rounds, change = max(rounds, fit.rounds), max(change, fit.change)
    count = told[:, group >= 0].sum(axis=1)
    discuss = _apart(values - lean, weight)
    converged = change <= SETTLED
    return Consensus(
        value=value,
        error=error,
        answers=count,
        lean=lean,
        scatter=scatter,
        weight=weight,
        group=group,
        floored=floored,
        scored=(count >= 2) & ~discuss & ~guessed,
        discuss=discuss,
        rounds=rounds,
        converged=converged,
        change=change,
        notes=_notes(told, group, count, discuss, guessed, converged),
        scores=values,
    )


def _groups(told: Flags) -> NDArray[np.int64]:
    """Number of each grader's group, by photos shared; -1 for who shares none."""
    shared = (told.T.astype(np.int64) @ told.astype(np.int64)) > 0
    label = connected_components(shared, directed=False)[1].astype(np.int64)
    alone = np.bincount(label, minlength=1)[label] < 2
    group = np.full(len(label), -1, dtype=np.int64)
    if (~alone).any():
        group[~alone] = np.unique(label[~alone], return_inverse=True)[1]
    return group


def _fitted(values: Numbers) -> _Fit:
    """Truths, leans and variances of one group of graders, by alternating the two steps."""
    told = ~np.isnan(values)
    filled = np.where(told, values, 0.0)
    variance = np.ones(values.shape[1])
    floored = np.zeros(values.shape[1], dtype=np.bool_)
    change, rounds = np.inf, 0
    while change > SETTLED and rounds < MOST_ROUNDS:
        rounds += 1
        truth, truth_variance, lean, left = _least_squares(filled, told, 1 / variance)
        if left.sum() < NOTHING_LEFT:
            none = np.full(len(lean), np.nan)
            return _Fit(truth, np.full(len(truth), np.nan), lean, none, 1 / variance, floored, rounds, 0.0)
        square = (np.where(told, filled - truth[:, None] - lean, 0.0) ** 2).sum(axis=0)
        pooled = float(square.sum() / left.sum())
        fresh = (square + PRIOR * pooled) / (left + PRIOR)
        least = max(SHARE * pooled, ROUNDING)
        floored = fresh < least
        fresh = np.maximum(fresh, least)
        change = float(np.abs(fresh / variance - 1).max())
        variance = fresh
    truth, truth_variance, lean, _ = _least_squares(filled, told, 1 / variance)
    return _Fit(truth, truth_variance, lean, variance, 1 / variance, floored, rounds, change)


def _least_squares(filled: Numbers, told: Flags, weight: Numbers) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Truths (n,), their variances (n,), leans (k,), and answers of each grader not taken up by the fit (k,).

    The photos are absorbed, which leaves k equations; the rule that leans sum to zero makes them regular.
    """
    part = told * weight
    total = part.sum(axis=1)
    share = part / total[:, None]
    mean = (share * filled).sum(axis=1)
    rule = part.sum(axis=0) / part.sum()
    equations = np.diag(part.sum(axis=0)) - part.T @ share
    size = float(np.trace(equations))
    undone = np.linalg.inv(equations + size * np.outer(rule, rule))
    spread = undone - 1 / size  # covariance of the leans: without what the rule put in
    lean = undone @ (part * (filled - mean[:, None])).sum(axis=0)
    truth = mean - share @ lean
    along = share @ spread
    truth_variance = 1 / total + (along * share).sum(axis=1)
    of_answer = truth_variance[:, None] + np.diag(spread) - 2 * along  # variance of truth + lean at each answer
    left = (told * (1 - weight * of_answer)).sum(axis=0)
    return truth, truth_variance, lean, np.maximum(left, 0.0)


def _apart(corrected: Numbers, weight: Numbers) -> Flags:
    """Photos on which the best graders who answered differ by APART steps or more, leans taken off."""
    told = ~np.isnan(corrected)
    order = np.argsort(-weight, kind="stable")
    told, corrected = told[:, order], corrected[:, order]
    number = told.sum(axis=1)
    best = np.clip((number + 1) // 2, 2, MOST_BEST)
    chosen = told & (np.cumsum(told, axis=1) <= best[:, None])
    high = np.where(chosen, corrected, -np.inf).max(axis=1, initial=-np.inf)
    low = np.where(chosen, corrected, np.inf).min(axis=1, initial=np.inf)
    apart: Flags = (number >= 2) & (high - low >= APART - 1e-9)
    return apart


def _notes(
    told: Flags,
    group: NDArray[np.int64],
    count: NDArray[np.int64],
    discuss: Flags,
    guessed: Flags,
    converged: bool,
) -> tuple[str, ...]:
    silent = int((~told.any(axis=0)).sum())
    alone = int((group < 0).sum()) - silent
    groups = int(group.max(initial=-1)) + 1
    talk = int(discuss.sum())
    nobody, one = int((count == 0).sum()), int((count == 1).sum())
    said = {
        f"Nothing to compare: {counted(told.shape[1] - silent, 'grader')} answered.": groups == 0,
        f"Without a single step: {counted(silent, 'grader')}.": silent > 0,
        f"Sharing no photo with anybody, so without a lean: {counted(alone, 'grader')}.": alone > 0,
        f"The graders fall into {groups} groups that share no photo: leans compare within a group only.": groups > 1,
        f"Without a consensus, for want of steps that compare: {counted(nobody, 'photo')}.": nobody > 0,
        f"Not scored, with one grader's step only: {counted(one, 'photo')}.": one > 0,
        f"To talk about, not scored, since the best graders differ: {counted(talk, 'photo')}.": talk > 0,
        "Too few photos are shared to tell lean from scatter: no errors are given, and those photos are not scored.": (
            guessed.any()
        ),
        "With two graders nobody can tell who is steadier: both weigh the same.": groups > 0
        and bool((np.bincount(group[group >= 0]) == 2).any()),
        f"Not settled after {MOST_ROUNDS} rounds: take the figures as rough.": not converged,
    }
    return tuple(note for note, holds in said.items() if holds)
