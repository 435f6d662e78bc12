"""Why two animals are related: their common ancestors, what each adds, and the chains of parents that lead there.

Wright's rule: the coancestry of two animals is the sum, over every chain that goes up from one of them to a common
ancestor and down to the other without meeting any animal twice, of (1/2) ** (steps + 1) * (1 + F of that ancestor).
Source: Wright (1922), American Naturalist 56:330-338.
"""

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .errors import NotRows
from .flow import Flow
from .pedigree import Layers, Numbers, Rows, ancestors_in_generations, checked_parents, checked_rows
from .relationship import known_or_new

BLOCK = 256
MOST_STEPS = 200_000  # looked at before the search for chains gives up


@dataclass(frozen=True)
class CommonAncestors:
    """The common ancestors that a chain of Wright's rule turns at, greatest contribution first.

    rows : (k,) row of each; one of the pair itself if it is the other's ancestor.
    contribution : (k,) part of the coancestry through that ancestor. coancestry : their sum, the litter's inbreeding.
    from_first, from_second : (k,) fewest generations up to it, 0 for the animal itself.
    """

    rows: Rows
    contribution: Numbers
    from_first: Rows
    from_second: Rows
    coancestry: float


@dataclass(frozen=True)
class Chain:
    """One way in which two animals are related; the lines start at each animal and end at the ancestor."""

    ancestor: int
    first_line: tuple[int, ...]
    second_line: tuple[int, ...]
    contribution: float


def common_ancestors(
    sire: ArrayLike, dam: ArrayLike, first: int, second: int, *, inbreeding: ArrayLike | None = None
) -> CommonAncestors:
    """What each common ancestor adds to the coancestry of two animals; exact, all chains through it taken together.

    Let u[k] be the product of both animals' gene flow from k. Chains that met at a younger ancestor j and went on to k
    on both sides are in it too: u[k] = sum over j of h[j] T[j, k] ** 2. Solved for h from the youngest ancestor to the
    oldest, the contribution of k is h[k] (1 + F[k]) / 2. The time goes with the square of the common ancestors.
    """
    layers, one, other = pair_in_generations(sire, dam, first, second)
    f = known_or_new(layers, inbreeding, np.asarray(sire).size)
    x = np.zeros((len(layers), 2))
    x[one, 0] = x[other, 1] = 1.0
    share = Flow(layers).up(x)
    shared = np.flatnonzero((share > 0).all(axis=1))
    part = layers.ancestors(shared)  # an ancestor of a common ancestor is common as well
    meeting = chains_that_turn(part, share[shared].prod(axis=1))
    contribution = meeting * (1 + f[shared]) / 2
    best = np.argsort(-contribution, kind="stable")[: int((contribution > 0).sum())]
    up_first, up_second = (fewest_generations(layers, place)[shared[best]] for place in (one, other))
    return CommonAncestors(
        layers.rows[shared[best]], contribution[best], up_first, up_second, float(contribution[best].sum())
    )


def chains(
    sire: ArrayLike, dam: ArrayLike, first: int, second: int, *, at_most: int = 20, inbreeding: ArrayLike | None = None
) -> list[Chain]:
    """The chains between two animals, fewest steps first, at most so many; an empty list for unrelated animals.

    In a deep pedigree there may be millions of them; common_ancestors sums them all. The younger of the two ends always
    takes the next step, so that two lines through one animal must meet there, and none is found twice.
    """
    layers, one, other = pair_in_generations(sire, dam, first, second)
    f = known_or_new(layers, inbreeding, np.asarray(sire).size)
    x = np.zeros((len(layers), 2))
    x[one, 0] = x[other, 1] = 1.0
    flow = Flow(layers)
    common = np.asarray((flow.up(x) > 0).all(axis=1), dtype=np.float64)
    useful = flow.down(common) > 0  # it or an ancestor of it is common
    parents = [
        [int(parent) for parent in pair if parent >= 0 and useful[parent]]
        for pair in zip(layers.sire, layers.dam, strict=True)
    ]
    rows, found, looked_at = layers.rows, list[Chain](), 0
    waiting: list[tuple[int, int, tuple[int, ...], tuple[int, ...]]] = [(0, 0, (one,), (other,))]
    while waiting and len(found) < at_most and looked_at < MOST_STEPS:
        steps, _, left, right = heapq.heappop(waiting)
        if left[-1] == right[-1]:
            up, down = (tuple(rows[list(line)].tolist()) for line in (left, right))
            found.append(Chain(up[-1], up, down, float(0.5 ** (steps + 1) * (1 + f[left[-1]]))))
            continue
        for parent in parents[max(left[-1], right[-1])]:
            looked_at += 1
            lines = ((*left, parent), right) if left[-1] > right[-1] else (left, (*right, parent))
            heapq.heappush(waiting, (steps + 1, looked_at, *lines))
    return found


def pair_in_generations(sire: ArrayLike, dam: ArrayLike, first: int, second: int) -> tuple[Layers, int, int]:
    """The two animals' ancestors in generations, and the places of the two."""
    sire, dam = checked_parents(sire, dam)
    if any(isinstance(row, bool | np.bool_) for row in (first, second)):
        raise NotRows("The pair holds true or false, not row numbers. Give the rows of two animals.")
    pair = checked_rows([first, second], len(sire), "the pair")
    layers, place = ancestors_in_generations(sire, dam, pair)
    return layers, int(place[pair[0]]), int(place[pair[1]])


def chains_that_turn(part: Layers, both: Numbers) -> Numbers:
    """h of common_ancestors: the sum of (1/2) ** steps over chains that turn at each ancestor, shape (m,)."""
    turning, doubt = both.copy(), both * 1e-12  # what is left of a difference below that is rounding
    for layer in reversed(part.generations()):
        here = turning[layer]
        here[here <= doubt[layer]] = 0.0
        young = np.flatnonzero(here) + layer.start
        young = young[(part.sire[young] >= 0) | (part.dam[young] >= 0)]
        for start in range(0, len(young), BLOCK):
            block = young[start : start + BLOCK]
            above = part.ancestors(block)
            own = np.searchsorted(above.rows, block)
            x = np.zeros((len(above), len(block)))
            x[own, np.arange(len(block))] = 1.0
            x = Flow(above).up(x)
            x[own, np.arange(len(block))] = 0.0
            turning[above.rows] -= (x * x) @ turning[block]
    return turning


def fewest_generations(layers: Layers, start: int) -> Rows:
    """Fewest generations from one animal up to each of its ancestors, shape (m,); -1 for others."""
    steps = np.full(len(layers) + 1, -1, dtype=np.int64)
    now, number = np.array([start]), 0
    while now.size:
        steps[now] = number
        parents = np.concatenate([layers.sire[now], layers.dam[now]])
        parents = np.unique(parents[parents >= 0])
        now, number = parents[steps[parents] < 0], number + 1
    return steps[:-1]
