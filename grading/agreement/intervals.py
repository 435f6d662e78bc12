"""Plain figures of a profile with their intervals; every function drops pairs that are not complete."""

import numpy as np
from scipy.special import chdtri, stdtrit

from .estimates import ROUNDING, UPPER, Estimate, Z, counted, none_because
from .reading import Flags, Numbers


def mean_difference(these: Numbers, those: Numbers, least: float = ROUNDING) -> Estimate:
    """Mean of these minus those, with Student's interval; `least` is the lowest variance of a difference to go by."""
    away = (these - those)[~np.isnan(these - those)]
    n = len(away)
    if n == 0:
        return none_because("No photo has both answers, so there is no difference to give.")
    value = float(away.mean())
    if n == 1:
        return Estimate(value, None, None, 1, "One photo only, so no interval.")
    variance = float(away.var(ddof=1))
    half = float(stdtrit(n - 1, UPPER)) * float(np.sqrt(max(variance, least) / n))
    note = "All differences are nearly alike; the interval allows for the rounding to steps." * (variance < ROUNDING)
    return Estimate(value, value - half, value + half, n, note)


def share(part: int, n: int) -> Estimate:
    """Part of n, 0 to 1, with the interval of Wilson (1927), Journal of the American Statistical Association 22:209."""
    if n == 0:
        return none_because("No photo was shown, so there is no share to give.")
    middle, width = part + Z**2 / 2, Z * float(np.sqrt(part * (n - part) / n + Z**2 / 4))
    low = 0.0 if part == 0 else (middle - width) / (n + Z**2)
    high = 1.0 if part == n else (middle + width) / (n + Z**2)
    return Estimate(part / n, low, high, n)


def ratio_of_spreads(these: Numbers, those: Numbers) -> Estimate:
    """Standard deviation of these over that of those, of the same photos, with the interval for paired values.

    Source: Pitman (1939), Biometrika 31:9-12, and Morgan (1939), Biometrika 31:13-19 (from memory).
    """
    both = ~np.isnan(these) & ~np.isnan(those)
    one, other, n = these[both], those[both], int(both.sum())
    if n < 3:
        return none_because(f"{counted(n, 'photo')} to compare: the use of the scale needs three.", n)
    if np.ptp(other) < 1e-9:
        return none_because("The others see all these photos alike, so the use of the scale cannot be told.", n)
    value = float(one.std() / other.std())
    if np.ptp(one) == 0:
        return Estimate(0.0, None, None, n, "Every photo got the same step.")
    apart = max(1.0 - float(np.corrcoef(one, other)[0, 1]) ** 2, 0.0)
    wide = 1.0 + 2.0 * apart * float(stdtrit(n - 2, UPPER)) ** 2 / (n - 2)
    ends = wide + np.array([-1.0, 1.0]) * np.sqrt(wide**2 - 1.0)
    low, high = value * np.sqrt(ends)
    return Estimate(value, float(low), float(high), n)


def scatter_of_repeats(first: Numbers, second: Numbers) -> Estimate:
    """Standard deviation of one answer, in steps, from photos graded twice, with the chi-square interval.

    Where no pair differs, the upper end allows for rounding to steps.
    """
    away = (first - second)[~np.isnan(first - second)]
    n = len(away)
    if n == 0:
        return none_because("No photo was graded twice.")
    square = float(away @ away) / 2
    low = np.sqrt(square / float(chdtri(n, 1 - UPPER)))
    high = np.sqrt(max(square, n * ROUNDING) / float(chdtri(n, UPPER)))
    note = "" if square > 0 else "No second answer differs from the first; the upper end allows for rounding to steps."
    return Estimate(float(np.sqrt(square / n)), float(low), float(high), n, note)


def partial_slope(outcome: Numbers, on: Numbers, given: Numbers, counts: Flags) -> Estimate:
    """Slope of the outcome on `on` where `given` is held fast, by least squares, with Student's interval.

    counts : (photos,) which to go by; the scatter behind the interval is that of all.
    """
    full = ~np.isnan(outcome) & ~np.isnan(on) & ~np.isnan(given)
    kept = full & counts
    y, x, z, n = outcome[kept], on[kept], given[kept], int(kept.sum())
    if n < 4:
        return none_because(f"{counted(n, 'photo')} with all three answers: a slope beside another needs four.", n)
    others = np.column_stack([np.ones(n), z])
    own = _left_over(x, others)
    square = float(own @ own)
    if square < 1e-9 * max(float(((x - x.mean()) ** 2).sum()), 1.0):
        return none_because("The two steps rise and fall together or stand still, so they cannot be told apart.", n)
    value = float(own @ y) / square
    left = _left_over(outcome[full], np.column_stack([np.ones(full.sum()), given[full], on[full]]))
    variance = max(float(left @ left) / (len(left) - 3), ROUNDING)
    half = float(stdtrit(n - 3, UPPER)) * float(np.sqrt(variance / square))
    return Estimate(value, value - half, value + half, n)


def _left_over(outcome: Numbers, on: Numbers) -> Numbers:
    """What least squares on the columns of `on` leave of the outcome."""
    left: Numbers = outcome - on @ np.linalg.lstsq(on, outcome, rcond=None)[0]
    return left
