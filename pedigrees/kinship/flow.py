"""How genes flow down a pedigree: the matrices T and D of A = T D T', used without ever being formed.

T[i, k] is the share of animal i's genes that came through animal k (1 for itself, 1/2 from a parent, 1/4 from a
grandparent ...). D is diagonal: the variance that is new in each animal, in units of the additive variance.
"""

import numpy as np
from scipy import sparse

from .pedigree import Layers, Numbers, Rows

FEWEST, MOST = 64, 512  # animals followed at once
CACHE_BYTES = 64_000_000  # their columns should about fit the processor's cache
MEMORY_BYTES = 400_000_000


def new_variance(sire: Rows, dam: Rows, inbreeding: Numbers) -> Numbers:
    """Mendelian sampling variance of each animal over the additive variance, shape (n,), 0 to 1."""
    f = np.append(inbreeding, -1.0)  # an unknown parent, place -1, reads -1, which gives 3/4 and 1
    return np.asarray(0.5 - 0.25 * (f[sire] + f[dam]))


class Flow:
    """Sums over parents or over progeny, a generation at a time, for one or many columns of numbers."""

    def __init__(self, layers: Layers) -> None:
        self.layers = layers
        m = len(layers)
        parents = np.stack([layers.sire, layers.dam], axis=1)
        known = parents >= 0
        ends = np.append(0, np.cumsum(known.sum(axis=1)))
        from_parents = sparse.csr_array((np.full(ends[-1], 0.5), parents[known], ends), shape=(m, m))
        from_progeny = from_parents.T.tocsr()
        self.down_steps = [(layer, from_parents[layer]) for layer in layers.generations()[1:]]
        self.up_steps = [(layer, from_progeny[layer]) for layer in reversed(layers.generations()[:-1])]

    def up(self, x: Numbers) -> Numbers:
        """T' x in place: what each column's animals owe to every ancestor. x : (m,) or (m, columns)."""
        for layer, progeny in self.up_steps:
            x[layer] += progeny @ x
        return x

    def down(self, x: Numbers) -> Numbers:
        """T x in place: what every animal gets from all its ancestors. x : (m,) or (m, columns)."""
        for layer, parents in self.down_steps:
            x[layer] += parents @ x
        return x


def relationships(layers: Layers, inbreeding: Numbers, one: Rows, other: Rows) -> Numbers:
    """A[one, other] for k pairs of places, shape (k,) float64; inbreeding : (m,) of every place in `layers`.

    Whichever side has fewer animals is followed. A column of A costs one pass up the pedigree and one down; many
    animals share a pass, through their ancestors and their partners' only.
    Source: Colleau (2002), Genetics Selection Evolution 34:409-421.
    """
    if len(np.unique(other)) < len(np.unique(one)):
        one, other = other, one
    answer = np.empty(len(one))
    by_one = np.argsort(one, kind="stable")
    starts = np.flatnonzero(np.append(True, np.diff(one[by_one]) != 0))[: len(one)]
    variance = new_variance(layers.sire, layers.dam, inbreeding)
    in_cache, in_memory = (size // (8 * max(1, len(layers))) for size in (CACHE_BYTES, MEMORY_BYTES))
    at_once = max(1, min(max(in_cache, FEWEST), MOST, in_memory))
    for first in range(0, len(starts), at_once):
        end = starts[first + at_once] if first + at_once < len(starts) else len(one)
        block = by_one[starts[first] : end]
        part = layers.ancestors(np.concatenate([one[block], other[block]]))
        left, right = np.searchsorted(part.rows, one[block]), np.searchsorted(part.rows, other[block])
        animals, column = np.unique(left, return_inverse=True)
        x = np.zeros((len(part), len(animals)))
        x[animals, np.arange(len(animals))] = 1.0
        flow = Flow(part)
        x = flow.up(x)
        x *= variance[part.rows, None]
        answer[block] = flow.down(x)[right, column]
    return answer
