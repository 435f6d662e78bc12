"""The best set of matings for a herd under a limit on kinship: arrays in, small dataclasses out, no Django.

An assignment with capacities, solved as a mixed-integer linear programme by SciPy's HiGHS:

    maximise    sum of value[i, j] x[i, j]
    subject to  every doe i at most one buck, every buck j at most capacity[j] does,
                sum of (coancestry[i, j] - limit) x[i, j] <= 0   (so the chosen pairs' mean is at most the limit),
                x[i, j] = 0 where not allowed[i, j].

As many does as possible are mated first; the values only decide among sets of that size. The coancestry of a pair is
the inbreeding expected in its litter, so the limit holds the mean inbreeding of next season's kits.
"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, sparse

TOLERANCE = 1e-9


@dataclass(frozen=True)
class MatingSet:
    """`buck` (d,) is the column chosen for each doe, -1 for none; `mean_coancestry` of the chosen pairs, NaN for none.

    `complete` is False when the search was stopped before it was proven best.
    """

    buck: np.ndarray
    mean_coancestry: float
    value: float
    complete: bool

    @property
    def mated(self):
        return int((self.buck >= 0).sum())


def best_matings(value, coancestry, capacity, *, limit, allowed=None, seconds=10.0):
    """The best MatingSet. value, coancestry : float (d, b); capacity : int (b,); limit : highest mean coancestry.

    allowed : bool (d, b), True where a pair may be mated; all by default. NaN in `value` counts as the worst value.
    ValueError for shapes that do not fit, a negative capacity, or coancestry that is not a number from 0 to 1.
    """
    value, coancestry = np.array(value, dtype=float, ndmin=2), np.array(coancestry, dtype=float, ndmin=2)
    does, bucks = coancestry.shape
    capacity = np.asarray(capacity, dtype=float).reshape(-1)
    allowed = np.ones((does, bucks), dtype=bool) if allowed is None else np.asarray(allowed, dtype=bool)
    if value.shape != (does, bucks) or allowed.shape != (does, bucks) or capacity.shape != (bucks,):
        raise ValueError(f"value, allowed and capacity do not fit {does} does and {bucks} bucks.")
    if (capacity < 0).any():
        raise ValueError("A buck cannot serve fewer than no does.")
    if not ((coancestry >= 0) & (coancestry <= 1)).all():
        raise ValueError("Coancestry is a number from 0 to 1.")
    none = MatingSet(np.full(does, -1), float("nan"), 0.0, True)
    rows, columns = np.nonzero(allowed)
    if not len(rows):
        return none
    worth = _from_nought_to_one(value[rows, columns]) + len(rows) + 1.0  # one mating more outweighs every difference
    pair = np.arange(len(rows))
    limits = [
        _sums(rows, pair, does, 1.0),
        _sums(columns, pair, bucks, capacity),
        optimize.LinearConstraint(sparse.csr_array((coancestry[rows, columns] - limit)[None, :]), ub=TOLERANCE),
    ]
    found = optimize.milp(
        -worth,
        constraints=limits,
        integrality=np.ones(len(rows)),
        bounds=optimize.Bounds(0, 1),
        options={"time_limit": seconds},
    )
    if found.x is None:
        return MatingSet(none.buck, none.mean_coancestry, 0.0, found.status != 1)
    chosen = found.x > 0.5
    buck = np.full(does, -1)
    buck[rows[chosen]] = columns[chosen]
    if not chosen.any():
        return none
    picked = coancestry[rows[chosen], columns[chosen]]
    total = float(np.nan_to_num(value[rows[chosen], columns[chosen]]).sum())
    return MatingSet(buck, float(picked.mean()), total, found.status == 0)


def lowest_mean(coancestry, capacity, allowed=None):
    """The lowest mean coancestry at which as many does as possible are mated; NaN when none can be."""
    coancestry = np.array(coancestry, dtype=float, ndmin=2)
    return best_matings(-coancestry, coancestry, capacity, limit=1.0, allowed=allowed).mean_coancestry


def _sums(group, pair, groups, most):
    """The constraint that at most `most` of the pairs of each group are chosen."""
    table = sparse.csr_array((np.ones(len(pair)), (group, pair)), shape=(groups, len(pair)))
    return optimize.LinearConstraint(table, ub=np.broadcast_to(most, (groups,)))


def _from_nought_to_one(value):
    known = value[np.isfinite(value)]
    if not len(known) or known.max() == known.min():
        return np.where(np.isfinite(value), 1.0, 0.0)
    return np.where(np.isfinite(value), 0.1 + 0.9 * (value - known.min()) / (known.max() - known.min()), 0.0)
