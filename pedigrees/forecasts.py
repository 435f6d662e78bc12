"""What may be expected of the kits of a pair, trait by trait, told by apps above this one; this app knows no trait.

A forecaster stands on something: the parents' own looks, or their merits. The first one, by order, that has an answer
is used, so that merits take the place of looks as soon as there are any.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np


@dataclass(frozen=True)
class TraitForecast:
    """One trait of the kits of d does and b bucks, in steps. `mean`, `spread` (d, b), NaN where it cannot be told.

    `spread` is the standard deviation of grown kits round the mean; `goal` the (low, high) steps wanted, or None.
    `leading` marks surface shade and undercolor, which are shown together and first.
    """

    code: str
    name: str
    goal: tuple | None
    mean: np.ndarray
    spread: np.ndarray
    leading: str = ""


@dataclass(frozen=True)
class Forecast:
    """The traits, and what hangs on two of them or on both parents.

    basis : a sentence on what the figures stand on. both_goals : (d, b), the chance that a kit reaches the goals of
    surface shade and undercolor, NaN where it cannot be told. shared_faults : {(doe key, buck key): [sentence]}.
    unseen : keys of animals of which the member may see no look, so that nothing is expected of their kits.
    unseen_words : what the member may not see of them. notes : {(doe key, buck key): sentence} on how sure it is.
    """

    basis: str
    traits: list
    both_goals: np.ndarray
    shared_faults: dict = field(default_factory=dict)
    unseen: frozenset = frozenset()
    unseen_words: str = "look"
    notes: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Forecaster:
    """`forecast(member, does, bucks, inbreeding)` gives a Forecast, or None when it has nothing to stand on.

    does, bucks : lists of Animal. inbreeding : (d, b), that of the kits.
    """

    name: str
    order: int
    forecast: Callable[[Any, list, list, np.ndarray], Forecast | None]


FORECASTERS: dict[str, Forecaster] = {}


def register(forecaster):
    """Add a forecaster; the same name replaces, so that a reload adds nothing twice."""
    FORECASTERS[forecaster.name] = forecaster


def forecast(member, does, bucks, inbreeding):
    """The first Forecast there is, by the forecasters' order; None when nobody has one."""
    for each in sorted(FORECASTERS.values(), key=lambda one: one.order):
        found = each.forecast(member, does, bucks, inbreeding)
        if found is not None:
            return found
    return None
