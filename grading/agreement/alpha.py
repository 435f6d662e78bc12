"""Krippendorff's alpha: agreement of any number of graders, whoever answered what.

alpha = 1 - disagreement seen / disagreement expected, over all answers that can be paired within a photo. A difference
counts by level: 'nominal' 1 if unequal; 'interval' the square of the steps between; 'ordinal' the square of the ranks
between, a step's rank being the middle of its place among all answers.
Source: Krippendorff (2004), Content Analysis, 2nd edition, chapter 11; Krippendorff (2011), Computing Krippendorff's
Alpha-Reliability.
"""

import numpy as np
from numpy.typing import ArrayLike

from .errors import WrongInput
from .estimates import UPPER, Estimate, counted, none_because, sentences
from .reading import Numbers, table

LEVELS = ("nominal", "ordinal", "interval")
FEW_UNITS = 10  # below it the bootstrap is said to be rough
TOO_MANY_WITHOUT = 0.05  # share of draws that hold one step only


def krippendorff_alpha(scores: ArrayLike, level: str = "ordinal", *, seed: int = 1, draws: int = 2000) -> Estimate:
    """Alpha of scores (targets, raters), NaN for 'cannot tell'; level nominal, ordinal or interval.

    Every answer to a target with two or more answers is used (all pairable); single answers are not. The interval is
    the middle 95 % of `draws` bootstrap samples of whole targets, from `seed`, so the same scores give the same digits.
    n counts the pairable targets.
    """
    if level not in LEVELS:
        raise WrongInput(f"There is no level {level!r} of Krippendorff's alpha: choose {', '.join(LEVELS)}.")
    values = table(scores)
    values = values[(~np.isnan(values)).sum(axis=1) >= 2]
    n = len(values)
    if n < 2:
        return none_because(f"Two or more graders gave a step to {counted(n, 'photo')}: at least two are needed.", n)
    kinds = np.unique(values[~np.isnan(values)])
    counts = np.stack([(values == kind).sum(axis=1) for kind in kinds], axis=1).astype(np.float64)
    if len(kinds) == 1:
        return none_because("Every answer is the same step, so agreement cannot be told from chance.", n)
    value = float(_alphas(counts, kinds, level, np.ones((1, n)))[0])
    chosen = np.random.default_rng(seed).multinomial(n, np.full(n, 1 / n), size=draws).astype(np.float64)
    found = np.concatenate([_alphas(counts, kinds, level, some) for some in np.array_split(chosen, 1 + draws // 500)])
    usable = found[~np.isnan(found)]
    few = f"Only {counted(n, 'photo')}: the interval is rough." if n < FEW_UNITS else ""
    if len(usable) < (1 - TOO_MANY_WITHOUT) * draws:
        return Estimate(value, None, None, n, "No interval: the answers vary on too few photos to draw them again.")
    low, high = np.quantile(usable, [1 - UPPER, UPPER])
    same = "No answers differ within a photo, so that the interval has no width." if low == high == 1 else ""
    return Estimate(value, float(low), float(high), n, sentences(same, few))


def _alphas(counts: Numbers, kinds: Numbers, level: str, times: Numbers) -> Numbers:
    """Alpha of each draw, (b,), NaN where it holds one step only.

    counts : (n, v) answers of each of the v kinds to each photo. times : (b, n) how often each photo was drawn.
    """
    size = counts.sum(axis=1)
    totals = times @ counts
    all_answers = totals.sum(axis=1)
    if level == "nominal":
        apart = size**2 - (counts**2).sum(axis=1)
        seen = times @ (apart / (size - 1))
        expected = (all_answers**2 - (totals**2).sum(axis=1)) / (all_answers - 1)
    else:
        if level == "interval":
            place = np.broadcast_to(kinds - kinds.mean(), totals.shape)
        else:
            place = np.cumsum(totals, axis=1) - totals / 2
        place = place - ((totals * place).sum(axis=1) / all_answers)[:, None]  # keeps digits
        sums, squares = place @ counts.T, place**2 @ counts.T
        apart = 2 * (size * squares - sums**2)
        seen = (times * apart / (size - 1)).sum(axis=1)
        expected = 2 * all_answers * (totals * place**2).sum(axis=1) / (all_answers - 1)
    varied = (totals > 0).sum(axis=1) > 1
    alphas: Numbers = 1 - np.divide(seen, expected, out=np.full(len(times), np.nan), where=varied)
    return alphas
