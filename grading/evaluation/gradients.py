"""Conjugate gradients for several right-hand sides at once, with a preconditioner.

A column has converged when the norm of what is left, rhs - M x, is at most `tolerance` times the norm of rhs. All
columns walk together, each with its own step lengths; one that has converged stands still.
Source: Hestenes and Stiefel (1952), J. Res. Natl. Bur. Stand. 49:409-436.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .data import Numbers


@dataclass(frozen=True, eq=False)
class Found:
    """x : (m, k, t). residual : the largest relative norm left over, of all columns."""

    x: Numbers
    rounds: int
    residual: float
    converged: bool


def conjugate(
    times: Callable[[Numbers], Numbers],
    precondition: Callable[[Numbers], Numbers],
    rhs: Numbers,
    start: Numbers | None,
    tolerance: float,
    most: int,
) -> Found:
    """x with M x = rhs, where times(x) is M x, symmetric and positive; rhs, start : (m, k, t)."""
    size = np.sqrt(dots(rhs, rhs))
    size[size == 0] = 1.0
    x = np.zeros_like(rhs) if start is None else start.copy()
    left = rhs.copy() if start is None else rhs - times(x)
    ahead = precondition(left)
    way = ahead.copy()
    gain = dots(left, ahead)
    rounds, gap = 0, np.sqrt(dots(left, left)) / size
    while (going := gap > tolerance).any() and rounds < most:
        rounds += 1
        moved = times(way)
        along = dots(way, moved)
        step = np.where(going & (along > 0), gain / np.where(along > 0, along, 1.0), 0.0)
        step_up(x, step, way)
        step_up(left, -step, moved)
        ahead = precondition(left)
        now = dots(left, ahead)
        way *= np.where(going & (gain > 0), now / np.where(gain > 0, gain, 1.0), 0.0)[:, None]
        way += ahead
        gain = now
        gap = np.sqrt(dots(left, left)) / size
    return Found(x, rounds, float(gap.max(initial=0.0)), bool((gap <= tolerance).all()))


def dots(one: Numbers, other: Numbers) -> Numbers:
    """Inner product of each of the k columns, (k,)."""
    return np.asarray(np.einsum("mkt,mkt->k", one, other))


def step_up(x: Numbers, step: Numbers, way: Numbers) -> None:
    """x += step * way in place, a slab of rows at a time so that nothing large is made on the way."""
    for first in range(0, len(x), 65536):
        slab = slice(first, first + 65536)
        x[slab] += way[slab] * step[:, None]
