"""Whether the breed moved: mean merit by year of birth, and its slope.

Merits already allow for grader, age, coat and season, so their means by birth year are like for like. Two errors:

* with `error`, the covariance of the errors of the yearly means (`errors_of_means`): how far the true means of just
  these animals may lie from the estimated ones. Merits of relatives err together, and only this allows for it.
* without it, the scatter of the merits within their years alone; it says less than it seems to and is too narrow.

The slope is the least squares line through the merits of all animals of known birth year.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .data import Numbers, Rows
from .errors import EvaluationError, WrongInput
from .ratios import WITHIN


@dataclass(frozen=True, eq=False)
class Trend:
    """Yearly means and their line, in steps and steps a year.

    year, count : (y,) int. mean, standard_error : (y,) steps. slope_error : standard error of the slope. interval : low
    and high end of the slope, 95 %. from_prediction_errors : whether the errors are of the first kind.
    """

    year: Rows
    count: Rows
    mean: Numbers
    standard_error: Numbers
    slope: float
    slope_error: float
    interval: tuple[float, float]
    from_prediction_errors: bool
    warnings: tuple[str, ...]


def trend(merit: ArrayLike, birth_year: ArrayLike, error: ArrayLike | None = None) -> Trend:
    """Means and slope of merits (n,) by birth year (n,), below zero or NaN where not known.

    error : (y, y) covariance of the errors of the yearly means, years in order, as errors_of_means gives it.
    With one year there is no slope: it is 0 with an interval without end, and a warning says so.
    """
    try:
        merit, born = np.asarray(merit, dtype=np.float64), np.asarray(birth_year, dtype=np.float64)
    except (TypeError, ValueError):
        raise WrongInput("Merits or birth years are not numbers; give NaN where a year is not known.") from None
    if merit.shape != born.shape or merit.ndim != 1:
        raise WrongInput(f"There are {merit.shape} merits and {born.shape} birth years: give one of each an animal.")
    if not np.isfinite(merit).all():
        raise WrongInput("A merit is not a number, so no mean can be given.")
    known = np.isfinite(born) & (born >= 0)
    if not known.any():
        raise EvaluationError("No animal has a known year of birth, so there is no trend to give.")
    year, place, count = np.unique(born[known].astype(np.int64), return_inverse=True, return_counts=True)
    value = merit[known]
    mean = np.bincount(place, value) / count
    about = np.bincount(place, (value - mean[place]) ** 2)
    warnings = []
    if error is not None:
        covariance = np.asarray(error, dtype=np.float64)
        if covariance.shape != (len(year), len(year)):
            raise WrongInput(f"Give the errors of all {len(year)} yearly means, not {covariance.shape}.")
    else:
        within = float(about.sum()) / max(int((count - 1).sum()), 1)  # one animal a year borrows the others' scatter
        spread = np.where(count > 1, about / np.maximum(count - 1, 1), within)
        covariance = np.diag(spread / count)
        warnings.append("The errors count the scatter of the merits only, not how well each is known: too narrow.")
    away = year - (count @ year) / count.sum()
    square = float(count @ away**2)
    if square == 0:
        warnings.append("All animals were born in one year, so there is no trend to see.")
        slope, slope_error = 0.0, float("inf")
    else:
        weights = count * away / square
        slope = float(weights @ mean)
        slope_error = float(np.sqrt(max(weights @ covariance @ weights, 0.0)))
    return Trend(
        year,
        count,
        mean,
        np.sqrt(np.maximum(np.diag(covariance), 0.0)),
        slope,
        slope_error,
        (slope - WITHIN * slope_error, slope + WITHIN * slope_error),
        error is not None,
        tuple(warnings),
    )
