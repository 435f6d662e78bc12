"""Averages of a group of animals, raw and like for like: arrays in, small dataclasses out, no Django.

Like for like, a look is compared with all the club's looks in the same cell: same age class, same coat stage, same mode
(in hand or from photos). Its deviation from the cell's mean is added to the mean of all looks, so that the result
stays on the scale of steps. A cell with fewer than SMALLEST_CELL looks compares nothing, and its looks are left out.
This takes away what age, coat and mode do on average; it cannot tell a lenient grader from a bright herd.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

SMALLEST_CELL = 5


@dataclass(frozen=True)
class Spread:
    """How a trait lies in a group: number of animals, mean, standard deviation, 95 % interval of the mean, in steps.

    With no animal the figures are None; with one animal there is a mean and nothing else.
    """

    n: int
    mean: float | None = None
    sd: float | None = None
    low: float | None = None
    high: float | None = None


def spread(values):
    """Spread of values, float (n,), NaN where not known. Sample standard deviation; interval by Student's t."""
    known = np.asarray(values, dtype=float)
    known = known[~np.isnan(known)]
    n = len(known)
    if n == 0:
        return Spread(0)
    mean = float(known.mean())
    if n == 1:
        return Spread(1, mean)
    sd = float(known.std(ddof=1))
    half = float(stats.t.ppf(0.975, n - 1)) * sd / n**0.5
    return Spread(n, mean, sd, mean - half, mean + half)


def animal_means(animal, values):
    """Mean of each animal's values. animal : int (r,); values : float (r,), NaN skipped.

    Returns (animals, means): int (k,) ascending and float (k,), NaN for an animal with no value.
    """
    animals, row = np.unique(np.asarray(animal), return_inverse=True)
    values = np.asarray(values, dtype=float)
    known = ~np.isnan(values)
    counts = np.bincount(row[known], minlength=len(animals))
    sums = np.bincount(row[known], weights=values[known], minlength=len(animals))
    return animals, np.divide(sums, counts, out=np.full(len(animals), np.nan), where=counts > 0)


def like_for_like(values, cell, cell_means, overall):
    """Values put on the footing of all looks: value - its cell's mean + the overall mean.

    values : float (r,); cell : sequence of r keys; cell_means : dict of key to mean; overall : float.
    A value whose cell is not in `cell_means` becomes NaN.
    """
    expected = np.array([cell_means.get(key, np.nan) for key in cell], dtype=float)
    return np.asarray(values, dtype=float) - expected + overall


def pair_covariance(first, second):
    """Sample covariance (2, 2) of the animals that have both values; None under three of them."""
    first, second = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    both = ~(np.isnan(first) | np.isnan(second))
    return np.cov(first[both], second[both]) if both.sum() >= 3 else None
