"""Ratios of variances with their errors and intervals.

For a ratio h of two sums of variances, the error is that of its linear expansion (delta method). The interval is
symmetric on the scale of log(h / (1 - h)), so that it stays between 0 and 1. Where the variance above the line is held
at zero the interval starts at zero and ends where the quadratic expansion of the likelihood has fallen by 1.35, half
the 95th percentile of the even mixture of zero and a chi-square with one degree (Self and Liang 1987, from memory).
"""

import math
from dataclasses import dataclass

import numpy as np

from .data import Numbers

WITHIN = 1.959964  # standard errors each way that hold 95 %
FALL = 2.705543 / 2


@dataclass(frozen=True)
class Ratio:
    """A share of the whole variance, 0 to 1, its standard error, and its 95 % interval."""

    value: float
    standard_error: float
    low: float
    high: float

    def __float__(self) -> float:
        return self.value


def ratio(sizes: Numbers, covariance: Numbers, above: Numbers) -> Ratio:
    """Sum of the sizes marked 1 in `above` over the sum of all; sizes, above : (p,), covariance : (p, p)."""
    total = float(sizes.sum())
    value = float(above @ sizes) / total
    gradient = (above - value) / total
    error = math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))
    if not 1e-9 < value < 1 - 1e-9:
        return Ratio(value, error, max(0.0, value - WITHIN * error), min(1.0, value + WITHIN * error))
    middle = math.log(value / (1 - value))
    wide = WITHIN * error / (value * (1 - value))
    return Ratio(value, error, share(middle - wide), share(middle + wide))


def share(odds: float) -> float:
    """The share whose log odds these are."""
    return 1 / (1 + math.exp(-max(-700.0, min(odds, 700.0))))


def ratio_at_zero(total: float, standard_error: float, slope: float) -> Ratio:
    """The same for one variance held at zero, whose likelihood falls with `slope` (below zero) from there."""
    curvature = 1.0 / max(standard_error**2, 1e-300)
    reach = (slope + float(np.sqrt(slope**2 + 2 * curvature * FALL))) / curvature
    return Ratio(0.0, standard_error / total, 0.0, float(min(1.0, reach / total)))
