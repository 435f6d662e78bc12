"""Chance that two correlated normal values lie in a rectangle: arrays in, arrays out, no Django, no sampling.

Owen's T function gives the bivariate normal distribution exactly (D. B. Owen, Tables for computing bivariate normal
probabilities, Annals of Mathematical Statistics 27, 1956, 1075-1090).
"""

import numpy as np
from scipy.special import ndtr, owens_t

NEAREST_ONE = 1 - 1e-10  # a correlation of one is taken a hair below it


def below_both(first, second, correlation):
    """P(X <= first, Y <= second) for standard normal X and Y of that correlation; arrays are broadcast."""
    h, k, r = np.broadcast_arrays(np.asarray(first, float), np.asarray(second, float), np.asarray(correlation, float))
    r = np.clip(r, -NEAREST_ONE, NEAREST_ONE)
    h, k = (np.where(value == 0, 1e-150, np.clip(value, -40, 40)) for value in (h, k))
    root = np.sqrt(1 - r * r)
    with np.errstate(over="ignore", invalid="ignore"):
        found = (ndtr(h) + ndtr(k)) / 2 - owens_t(h, (k - r * h) / (h * root)) - owens_t(k, (h - r * k) / (k * root))
    return np.clip(found - np.where(h * k > 0, 0.0, 0.5), 0, 1)


def inside(low, high, mean, spread, correlation):
    """Chance of both values in their ranges. low, high, mean, spread : pairs (first, second) of arrays.

    NaN where a mean or spread is not known or a spread is nought.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = [
            [
                (np.asarray(end[i], float) - mean[i]) / np.where(np.asarray(spread[i]) > 0, spread[i], np.nan)
                for i in (0, 1)
            ]
            for end in (low, high)
        ]
    known = ~np.isnan(ends[0][0] + ends[0][1])
    (first_low, second_low), (first_high, second_high) = [[np.nan_to_num(each) for each in end] for end in ends]
    chance = (
        below_both(first_high, second_high, correlation)
        - below_both(first_low, second_high, correlation)
        - below_both(first_high, second_low, correlation)
        + below_both(first_low, second_low, correlation)
    )
    return np.where(known, np.clip(chance, 0, 1), np.nan)
