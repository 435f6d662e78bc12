"""A figure with its interval and its count, or the sentence that says why there is none."""

import math
from dataclasses import dataclass

from scipy.special import ndtri

LEVEL = 0.95  # of every interval here
UPPER = 0.5 + LEVEL / 2  # the quantile at its upper end
Z = float(ndtri(UPPER))
ROUNDING = 1 / 12  # variance, in steps squared, that rounding to whole steps alone leaves in one answer


@dataclass(frozen=True)
class Estimate:
    """A value, the ends of its 95 % interval, and the number of answers, pairs or photos that it rests on.

    value, low, high : None where they cannot be worked out; never NaN. An interval without an end has -inf or inf.
    note : a sentence that says why there is no value or no interval, or how far to trust them; '' if all is well.
    """

    value: float | None
    low: float | None
    high: float | None
    n: int
    note: str = ""

    def __post_init__(self) -> None:
        numbers = [number for number in (self.value, self.low, self.high) if number is not None]
        if any(math.isnan(number) for number in numbers):
            raise ArithmeticError(f"An estimate from {self.n} came out as no number; this is an error of the app.")
        if self.value is None and not self.note:
            raise ArithmeticError("An estimate without a value must say why.")


def none_because(note: str, n: int = 0) -> Estimate:
    """No value, and the sentence that says why."""
    return Estimate(None, None, None, n, note)


def sentences(*parts: str) -> str:
    """Those notes that say something, in one line."""
    return " ".join(part for part in parts if part)


def counted(number: int, what: str) -> str:
    """'1 photo', '3 photos'."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
