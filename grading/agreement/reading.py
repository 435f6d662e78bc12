"""Answers as arrays of float64 with NaN for 'cannot tell', checked once at the door."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import WrongInput

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]
Steps = int | Sequence[float] | Numbers


def scale(steps: Steps) -> Numbers:
    """The steps of a scale in rising order, shape (k,) with k at least 2; a whole number k stands for 1 to k."""
    if isinstance(steps, int | np.integer):
        steps = range(1, int(steps) + 1)
    values = _floats(list(steps), "The steps of the scale")
    if values.ndim != 1 or len(values) < 2 or not np.isfinite(values).all() or (np.diff(values) <= 0).any():
        raise WrongInput("A scale needs at least two different steps, the lowest first.")
    return values


def answers(given: ArrayLike, of: str, steps: Numbers | None = None) -> Numbers:
    """One grader's answers, shape (photos,)."""
    values = _floats(given, of)
    if values.ndim != 1:
        raise WrongInput(f"{of} must be one row of answers, one a photo, not an array of {values.ndim} dimensions.")
    return _on_scale(values, of, steps)


def table(given: ArrayLike, steps: Numbers | None = None) -> Numbers:
    """Answers of all graders, shape (photos, graders)."""
    values = _floats(given, "The table of answers")
    if values.ndim != 2:
        raise WrongInput(f"Give a table with one row a photo and one column a grader, not {values.ndim} dimensions.")
    return _on_scale(values, "The table of answers", steps)


def same_length(first: Numbers, second: Numbers, what: str) -> None:
    """Refuse answers that are not about the same photos."""
    if len(first) != len(second):
        raise WrongInput(f"{what} have {len(first)} and {len(second)} answers: give one each for every photo.")


def span(steps: Numbers) -> str:
    """'1 to 9'."""
    return f"{steps[0]:g} to {steps[-1]:g}"


def _floats(given: object, of: str) -> Numbers:
    try:
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError) as wrong:
        raise WrongInput(f"{of} must be numbers in rows of equal length, with NaN for 'cannot tell'.") from wrong


def _on_scale(values: Numbers, of: str, steps: Numbers | None) -> Numbers:
    off = np.isinf(values)
    if steps is not None:
        off |= ~np.isnan(values) & ~np.isin(values, steps)
    if off.any():
        where = np.argwhere(off)[0]
        place = f"photo {where[0] + 1}" + (f", grader {where[1] + 1}" if values.ndim == 2 else "")
        wanted = f"a step of the scale {span(steps)}" if steps is not None else "a number"
        raise WrongInput(f"{of}: {values[tuple(where)]:g} at {place} is not {wanted}. Give NaN for 'cannot tell'.")
    return values
