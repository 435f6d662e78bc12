"""Putting each grader's use of the scale right by his own spread, where calibration says that he stretches it.

A grader who spreads his steps twice as wide as the club counts twice in every difference. Each look is drawn in about
its grader's mean:  mean + (value - mean) * common / own,  own being his standard deviation, shrunk toward the club's by
his number of looks: own^2 = (looks * seen^2 + prior * common^2) / (looks + prior). His mean is
left to the fixed effect.
Only do this when calibration sessions, where all see the same animals, show the difference: else herds that truly vary
more would be flattened.
"""

import numpy as np
from numpy.typing import ArrayLike

from .data import Numbers, codes
from .errors import NothingToEstimate, WrongInput

PRIOR_LOOKS = 20


def even_spread(value: ArrayLike, grader: ArrayLike, only: ArrayLike | None = None) -> tuple[Numbers, tuple[str, ...]]:
    """Values (r,) in steps with every grader's spread made the club's; NaN stays NaN. Returns them and warnings.

    grader : (r,) int codes, -1 where not known, left as is. A grader without any spread gives no differences to draw
    in: his looks are left as they are, and said. If nobody has a spread this is refused.
    only : the graders to put right (all without it); the others make the club's spread, and their looks stay.
    """
    value, of = np.asarray(value, dtype=np.float64), codes(np.asarray(grader), "grader")
    if value.shape != of.shape:
        raise WrongInput(f"There are {value.shape} values and {of.shape} graders: give one grader a look.")
    seen = np.flatnonzero(~np.isnan(value) & (of >= 0))
    level, place = np.unique(of[seen], return_inverse=True)
    count = np.bincount(place)
    mean = np.bincount(place, value[seen]) / count
    square = np.bincount(place, (value[seen] - mean[place]) ** 2)
    freedom = np.maximum(count - 1, 0)
    if square.sum() <= 0:
        raise NothingToEstimate("No grader ever gave two different steps, so there is no spread to put right.")
    nil = square <= 0
    chosen = np.ones(len(level), dtype=bool) if only is None else np.isin(level, np.asarray(only))
    club = ~nil & ~chosen if only is not None and (~nil & ~chosen).any() else ~nil
    common = float(square[club].sum() / freedom[club].sum())
    own = (square + PRIOR_LOOKS * common) / (freedom + PRIOR_LOOKS)
    scale = np.where(nil | ~chosen, 1.0, np.sqrt(common / own))
    even = value.copy()
    moved = mean[place] + (value[seen] - mean[place]) * scale[place]
    even[seen] = np.where(scale[place] == 1.0, value[seen], moved)
    said = [
        f"Grader {code} gave the same step in every look; his looks say nothing on differences." for code in level[nil]
    ]
    return even, tuple(said)
