"""Intraclass correlation: which part of the scatter of steps lies between photos rather than between graders.

The six forms of Shrout and Fleiss (1979), Psychological Bulletin 86:420-428, from the mean squares between photos
(BMS), within photos (WMS), between graders (JMS) and of the rest (EMS):

    1   each photo has graders of its own        2   the graders stand for many     3   just these graders
    ,1  one grader's step                        ,k  the mean of these graders

In form 2 a grader's lean counts as error, in form 3 it does not. Intervals: exact F for forms 1 and 3; for form 2 the F
interval with Satterthwaite's degrees of freedom, as there and in McGraw and Wong (1996), Psychological Methods 1:30-46.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri

from .errors import WrongInput
from .estimates import UPPER, Estimate, counted, none_because, sentences
from .reading import Numbers, table

FORMS = ("1,1", "2,1", "3,1", "1,k", "2,k", "3,k")
NEXT_TO_NOTHING = 1e-12  # of a mean square, beside the largest of them


@dataclass(frozen=True)
class MeanSquares:
    """Of n photos and k graders: between photos, within photos, between graders, and the rest."""

    n: int
    k: int
    photos: float
    within: float
    graders: float
    rest: float


def intraclass_correlation(scores: ArrayLike, form: str = "2,1") -> Estimate:
    """ICC of scores (targets, raters), NaN for 'cannot tell'; form 1,1 2,1 3,1 1,k 2,k or 3,k.

    Raters without a single answer are left out, then targets that any other rater could not tell (targets complete);
    the note says so. n counts the targets left. Below 0 graders agree less than by chance; mean forms have no lower
    bound, and a low of -inf says that the interval has no lower end.
    """
    if form not in FORMS:
        raise WrongInput(f"There is no form {form!r} of the intraclass correlation: choose {', '.join(FORMS)}.")
    values = table(scores)
    answered = ~np.isnan(values).all(axis=0)
    full = values[:, answered]
    full = full[~np.isnan(full).any(axis=1)]
    n, k = full.shape
    silent, short = values.shape[1] - k, len(values) - n
    left_out = sentences(
        f"Left out: {counted(silent, 'grader')} without an answer." if silent else "",
        f"Left out: {counted(short, 'photo')} that not every grader could tell." if short else "",
    )
    if k < 2:
        return none_because(sentences(f"Answers of {counted(k, 'grader')}: agreement needs two.", left_out), n)
    if n < 2:
        return none_because(
            sentences(f"All graders gave a step to {counted(n, 'photo')}: at least two are needed.", left_out), n
        )
    squares = mean_squares(full)
    if max(squares.photos, squares.graders, squares.rest) == 0:
        return none_because(
            sentences("Every answer is the same step, so photos and graders cannot be told apart.", left_out), n
        )
    number, mean_of = form.split(",")
    single = {"1": _one_way, "2": _two_way_random, "3": _two_way_fixed}[number](squares)
    if single is None:
        why = "The photos do not differ beyond the graders' leans, so there is nothing to agree on."
        return none_because(sentences(why, left_out), n)
    value, low, high = (_of_mean(end, k) for end in single) if mean_of == "k" else single
    if value == -np.inf:
        why = "Graders differ so much more within photos than between them that a mean's correlation has no value."
        return none_because(sentences(why, left_out), n)
    same = "No answers differ within a photo." if squares.within == 0 else ""
    if low is None or high is None:
        return Estimate(value, None, None, n, sentences("No interval: the photos do not differ.", left_out))
    return Estimate(value, low, high, n, sentences(same, left_out))


def mean_squares(full: Numbers) -> MeanSquares:
    """Two-way analysis of variance of a complete table (n, k)."""
    n, k = full.shape
    away = full - full.mean()
    of_photo, of_grader = away.mean(axis=1), away.mean(axis=0)
    photos = k * float(of_photo @ of_photo) / (n - 1)
    graders = n * float(of_grader @ of_grader) / (k - 1)
    within = float(((away - of_photo[:, None]) ** 2).sum()) / (n * (k - 1))
    rest = float(((away - of_photo[:, None] - of_grader[None, :]) ** 2).sum()) / ((n - 1) * (k - 1))
    least = NEXT_TO_NOTHING * max(photos, within, graders, rest, float(np.square(full).max()))
    photos, within, graders, rest = (square if square > least else 0.0 for square in (photos, within, graders, rest))
    return MeanSquares(n, k, photos, within, graders, rest)


Limits = tuple[float, float | None, float | None]


def _one_way(squares: MeanSquares) -> Limits | None:
    return _from_ratio(squares.photos, squares.within, squares.n - 1, squares.n * (squares.k - 1), squares.k)


def _two_way_fixed(squares: MeanSquares) -> Limits | None:
    return _from_ratio(squares.photos, squares.rest, squares.n - 1, (squares.n - 1) * (squares.k - 1), squares.k)


def _from_ratio(between: float, rest: float, above: int, below: int, k: int) -> Limits | None:
    """(F - 1) / (F + k - 1) of F = between / rest and of the ends of its interval."""
    if between == 0 and rest == 0:
        return None

    def of(numerator: float, denominator: float) -> float:
        return (numerator - denominator) / (numerator + (k - 1) * denominator)

    return (
        of(between, rest),
        of(between, rest * float(fdtri(above, below, UPPER))),
        of(between * float(fdtri(below, above, UPPER)), rest),
    )


def _two_way_random(squares: MeanSquares) -> Limits | None:
    n, k, photos, graders, rest = squares.n, squares.k, squares.photos, squares.graders, squares.rest
    value = (photos - rest) / (photos + (k - 1) * rest + k * (graders - rest) / n)
    if value == 1:
        return 1.0, 1.0, 1.0
    if photos == 0 and rest == 0:
        return 0.0, None, None
    of_graders = k * value / (n * (1 - value))
    of_rest = 1 + of_graders * (n - 1)
    parts = (of_graders * graders, of_rest * rest)
    spread = parts[0] ** 2 / (k - 1) + parts[1] ** 2 / ((n - 1) * (k - 1))
    degrees = max(sum(parts) ** 2 / spread, 1.0) if spread > 0 else 1.0  # below one only where the value is negative
    all_graders = k * graders + (k * n - k - n) * rest
    down, up = float(fdtri(n - 1, degrees, UPPER)), float(fdtri(degrees, n - 1, UPPER))
    low = n * (photos - down * rest) / (down * all_graders + n * photos)
    high = n * (up * photos - rest) / (all_graders + n * up * photos)
    return value, low, high


def _of_mean(end: float | None, k: int) -> float | None:
    """Spearman and Brown: the correlation of a mean of k from that of one; -inf where it has no bound."""
    if end is None:
        return None
    shared = 1 + (k - 1) * end
    return k * end / shared if shared > NEXT_TO_NOTHING else -np.inf
