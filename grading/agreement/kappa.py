"""Agreement of two graders beyond chance, heavier disagreements counting more.

With p the share of photos in each cell of first against second step, e the share that chance alone would put there
(product of the margins) and d the disagreement of two steps, kappa = 1 - sum(d p) / sum(d e):
1 is full agreement, 0 what chance would give, below 0 less than that.
Sources: Cohen (1968), Psychological Bulletin 70:213-220; standard error of Fleiss, Cohen and Everitt (1969),
Psychological Bulletin 72:323-327.
"""

import numpy as np
from numpy.typing import ArrayLike

from .errors import WrongInput
from .estimates import UPPER, Estimate, Z, counted, none_because, sentences
from .reading import Numbers, Steps, answers, same_length, scale

NO_WIDTH = 1e-7  # a standard error that is nothing but the way numbers are kept
FEW_PAIRS = 20  # below it the large-sample interval is said to be rough


def weighted_kappa(first: ArrayLike, second: ArrayLike, steps: Steps, weights: str = "quadratic") -> Estimate:
    """Weighted kappa of two graders' steps; a photo that either could not tell is left out (pairs complete).

    first, second : (photos,) steps of the scale, NaN for 'cannot tell'. steps : the scale, as range(1, 10) or 9.
    weights : 'none' (any difference is as bad), 'linear' (by steps apart), 'quadratic' (by their square).
    The interval is that of large samples, cut at -1 and 1. n counts the pairs.
    """
    on = scale(steps)
    one, other = answers(first, "The first grader", on), answers(second, "The second grader", on)
    same_length(one, other, "The two graders")
    both = ~np.isnan(one) & ~np.isnan(other)
    cells = np.zeros((len(on), len(on)))
    np.add.at(cells, (np.searchsorted(on, one[both]), np.searchsorted(on, other[both])), 1.0)
    return kappa_of_table(cells, disagreement(on, weights))


def disagreement(steps: Numbers, weights: str) -> Numbers:
    """How bad each pair of the k steps is, (k, k), 0 on the diagonal and 1 at the worst."""
    apart: Numbers = np.abs(steps[:, None] - steps[None, :]) / (steps[-1] - steps[0])
    match weights:
        case "none":
            apart = (apart > 0).astype(np.float64)
        case "linear":
            pass
        case "quadratic":
            apart = apart**2
        case _:
            raise WrongInput(f"There are no weights called {weights!r}: choose none, linear or quadratic.")
    return apart


def kappa_of_table(cells: Numbers, bad: Numbers) -> Estimate:
    """Kappa from counts (k, k) of first against second step, and the disagreement `bad` (k, k) of the steps."""
    n = int(cells.sum())
    if n < 2:
        return none_because(f"Steps from both sides for {counted(n, 'photo')}: agreement needs at least two.", n)
    p = cells / n
    of_first, of_second = p.sum(axis=1), p.sum(axis=0)
    seen, chance = float((bad * p).sum()), float(of_first @ bad @ of_second)
    if chance == 0:
        return none_because(
            "Both sides gave every photo the same one step, so agreement cannot be told from chance.", n
        )
    value = 1.0 - seen / chance
    few = f"Only {n} pairs: the interval is rough." if n < FEW_PAIRS else ""
    if np.count_nonzero(of_first) == 1 or np.count_nonzero(of_second) == 1:
        return Estimate(
            0.0, None, None, n, "One side gave every photo the same step: kappa is 0 whatever the other gave."
        )
    if seen == 0:
        low = max(_low_of_full_agreement(n, bad, chance), -1.0)
        note = "No pair differs; the lower end is the most disagreement, one step each, that would still go unseen."
        return Estimate(1.0, low, 1.0, n, sentences(note, few))
    error = _standard_error(p, bad, seen, chance, n)
    if error < NO_WIDTH:
        return Estimate(value, None, None, n, f"No interval: the {n} pairs are too few or too much alike for one.")
    return Estimate(value, max(value - Z * error, -1.0), min(value + Z * error, 1.0), n, few)


def _standard_error(p: Numbers, bad: Numbers, seen: float, chance: float, n: int) -> float:
    """By the delta method, as Fleiss, Cohen and Everitt (1969), written in disagreements instead of agreements."""
    margins = (bad @ p.sum(axis=0))[:, None] + (p.sum(axis=1) @ bad)[None, :]
    each = bad / chance - margins * seen / chance**2  # what one pair in a cell adds to seen / chance
    mean = float((p * each).sum())
    return float(np.sqrt(max(float((p * each**2).sum()) - mean**2, 0.0) / n))


def _low_of_full_agreement(n: int, bad: Numbers, chance: float) -> float:
    """Lower end where the large-sample formula has no width.

    With no disagreement among n pairs, at most 1 - 0.025^(1/n) of all pairs disagree (exact binomial limit); those are
    taken to be one step apart.
    """
    most = 1.0 - (1.0 - UPPER) ** (1.0 / n)
    one_step = float(np.diag(bad, 1).max())
    return float(1.0 - most * one_step / chance)
