"""The yardstick of the benchmark: the same answers from loops compiled by numba, where that is installed.

The package does not need numba and never imports this module. Each kernel is compiled before it is timed. Parents must
stand before their progeny in the rows, as they do in a simulated registry.
"""

# mypy: disable-error-code="no-untyped-def"
import importlib

import numpy as np
from scipy import sparse

from .flow import new_variance
from .frontier import Plan
from .pedigree import Mask, Numbers, Rows

numba = importlib.import_module("numba")
COLUMNS = 64


@numba.njit
def climb(sire, dam, first_kit, f):
    n = len(sire)
    share, variance = np.zeros(n), np.ones(n)
    for i in range(n):
        s, d = sire[i], dam[i]
        variance[i] = 0.5 - 0.25 * ((f[s] if s >= 0 else -1.0) + (f[d] if d >= 0 else -1.0))
        if s < 0 or d < 0:
            continue
        if first_kit[i] != i:
            f[i] = f[first_kit[i]]
            continue
        share[s] += 0.5
        share[d] += 0.5
        total = variance[i]
        for k in range(max(s, d), -1, -1):
            t = share[k]
            if t != 0.0:
                share[k] = 0.0
                total += t * t * variance[k]
                if sire[k] >= 0:
                    share[sire[k]] += 0.5 * t
                if dam[k] >= 0:
                    share[dam[k]] += 0.5 * t
        f[i] = total - 1.0


def climb_each_litter(sire: Rows, dam: Rows) -> Numbers:
    """Inbreeding by adding up the ancestors of one kit of each litter: Meuwissen and Luo (1992), GSE 24:305-313."""
    both = (sire >= 0) & (dam >= 0)
    pairs, litter = np.unique(sire[both] * len(sire) + dam[both], return_inverse=True)
    of = np.full(len(sire), -1, dtype=np.int64)
    of[both] = litter
    parents = np.unique(np.concatenate([sire[sire >= 0], dam[dam >= 0]]))
    # parents, then a kit of each litter that has none among them: the climb then meets no animal without progeny
    a_kit = np.zeros(len(pairs), dtype=np.int64)
    a_kit[of[both]] = np.flatnonzero(both)
    rows = np.concatenate([parents, np.setdiff1d(a_kit, parents)])
    place = np.full(len(sire) + 1, -1, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    known = np.flatnonzero(of[rows] >= 0)
    first = np.full(len(pairs), len(rows), dtype=np.int64)
    np.minimum.at(first, of[rows[known]], known)
    first_kit = np.full(len(rows), -1, dtype=np.int64)
    first_kit[known] = first[of[rows[known]]]
    f = np.zeros(len(rows))
    climb(place[sire[rows]], place[dam[rows]], first_kit, f)
    answer = np.zeros(len(sire))
    answer[both] = f[first[litter]]
    return answer


@numba.njit(parallel=True)
def follow(sire, dam, variance, known, buck, doe, starts, answer):
    """Columns of A for the bucks of one step, COLUMNS at a time, each block on its own core."""
    blocks = (len(starts) - 1 + COLUMNS - 1) // COLUMNS
    for block in numba.prange(blocks):
        low, high = block * COLUMNS, min(len(starts) - 1, (block + 1) * COLUMNS)
        x = np.zeros((known, high - low))
        for c in range(low, high):
            x[buck[starts[c]], c - low] = 1.0
        for i in range(known - 1, -1, -1):
            for parent in (sire[i], dam[i]):
                if parent >= 0:
                    for c in range(high - low):
                        x[parent, c] += 0.5 * x[i, c]
        for i in range(known):
            for c in range(high - low):
                x[i, c] *= variance[i]
            for parent in (sire[i], dam[i]):
                if parent >= 0:
                    for c in range(high - low):
                        x[i, c] += 0.5 * x[parent, c]
        for c in range(low, high):
            for pair in range(starts[c], starts[c + 1]):
                answer[pair] = x[doe[pair], c - low]


def follow_bucks(sire: Rows, dam: Rows) -> Numbers:
    """Inbreeding by following the bucks of each generation up and down: Colleau (2002), GSE 34:409-421."""
    plan, litter, both = planned(sire, dam)
    relationship, f = np.zeros(len(plan.mating) + 1), np.zeros(len(plan.sire) + 1)
    for entering, read in plan.steps():
        f[entering] = relationship[plan.born_of[entering]] / 2
        if read.stop == read.start:
            continue
        known = entering.stop
        order = np.argsort(plan.buck[read], kind="stable")
        buck, doe = plan.buck[read][order], plan.doe[read][order]
        starts = np.flatnonzero(np.concatenate([[True], np.diff(buck) != 0, [True]]))
        found = np.empty(len(buck))
        variance = new_variance(plan.sire[:known], plan.dam[:known], f[:known])
        follow(plan.sire, plan.dam, variance, known, buck, doe, starts, found)
        relationship[plan.mating[read][order]] = found
    answer = np.zeros(len(sire))
    answer[both] = relationship[litter] / 2
    return answer


@numba.njit(parallel=True)
def next_table(old, new, keep, sire, dam, diagonal):
    kept, count, width = len(keep), len(sire), len(old)
    for i in numba.prange(kept):
        for j in range(kept):
            new[i, j] = old[keep[i], keep[j]]
    for back in numba.prange(count):
        i = count - 1 - back
        half = np.empty(width)
        for k in range(width):
            half[k] = 0.5 * (old[sire[i], k] + old[dam[i], k])
        for k in range(kept):
            new[kept + i, k] = half[keep[k]]
        for j in range(i):
            new[kept + i, kept + j] = 0.5 * (half[sire[j]] + half[dam[j]])
        new[kept + i, kept + i] = diagonal[i]
    for block in numba.prange((count + 63) // 64):
        low, high = kept + 64 * block, min(kept + count, kept + 64 * (block + 1))
        for left in range(0, high, 64):
            for i in range(low, high):
                for j in range(left, min(left + 64, i)):
                    new[j, i] = new[i, j]


def table_of_living(sire: Rows, dam: Rows) -> Numbers:
    """Inbreeding by the tabular method, kept for the parents still to be used, as in frontier.py."""
    plan, litter, both = planned(sire, dam)
    relationship, f = np.zeros(len(plan.mating) + 1), np.zeros(len(plan.sire) + 1)
    table, members, row = np.zeros((1, 1)), np.empty(0, dtype=np.int64), np.zeros(len(plan.sire) + 1, dtype=np.int64)
    for step, (entering, read) in enumerate(plan.steps()):
        f[entering] = relationship[plan.born_of[entering]] / 2
        keep = np.append(0, np.flatnonzero(plan.last_use[members] > 2 * step) + 1)
        size = len(keep) + entering.stop - entering.start
        new = np.empty((size, size))
        next_table(table, new, keep, row[plan.sire[entering]], row[plan.dam[entering]], 1 + f[entering])
        table = new
        members = np.concatenate([members[keep[1:] - 1], np.arange(entering.start, entering.stop)])
        row[members] = np.arange(1, len(members) + 1)
        relationship[plan.mating[read]] = table[row[plan.buck[read]], row[plan.doe[read]]]
    answer = np.zeros(len(sire))
    answer[both] = relationship[litter] / 2
    return answer


def planned(sire: Rows, dam: Rows) -> tuple[Plan, Rows, Mask]:
    """The steps of frontier.py, the litter of each animal with two known parents, and a mask of those."""
    both = (sire >= 0) & (dam >= 0)
    pairs, litter = np.unique(sire[both] * len(sire) + dam[both], return_inverse=True)
    born_of = np.full(len(sire), -1, dtype=np.int64)
    born_of[both] = litter
    return Plan.of(sire, dam, pairs // len(sire), pairs % len(sire), born_of), litter, both


@numba.njit
def columns(sire, dam, f):
    n = len(sire)
    weight, ends = np.empty(n), np.zeros(n + 1, np.int64)
    for i in range(n):
        s, d = sire[i], dam[i]
        weight[i] = 1.0 / (0.5 - 0.25 * ((f[s] if s >= 0 else -1.0) + (f[d] if d >= 0 else -1.0)))
        for parent in (s, d):
            if parent >= 0:
                ends[parent + 1] += 1
    ends = np.cumsum(ends)
    progeny, next_place = np.empty(ends[n], np.int32), ends[:-1].copy()
    for i in range(n):
        for parent in (sire[i], dam[i]):
            if parent >= 0:
                progeny[next_place[parent]] = i
                next_place[parent] += 1
    most = n + 3 * len(progeny)
    row, value, starts = np.empty(most, np.int32), np.zeros(most), np.zeros(n + 1, np.int32)
    place, at = np.full(n, -1, np.int64), 0  # where each row stands, if at or after the start of this column
    for j in range(n):
        start = at
        for k in range(ends[j] - 1, ends[j + 1]):
            kit = j if k < ends[j] else progeny[k]
            part = 1.0 if kit == j else -0.5
            for who, share in ((kit, 1.0), (sire[kit], -0.5), (dam[kit], -0.5)):
                if who < 0:
                    continue
                if place[who] < start:
                    place[who] = at
                    row[at] = who
                    at += 1
                value[place[who]] += part * share * weight[kit]
        if at - start > 40:
            order = np.argsort(row[start:at])
            row[start:at], value[start:at] = row[start:at][order], value[start:at][order]
        else:
            for a in range(start + 1, at):
                r, v, b = row[a], value[a], a
                while b > start and row[b - 1] > r:
                    row[b], value[b] = row[b - 1], value[b - 1]
                    b -= 1
                row[b], value[b] = r, v
        starts[j + 1] = at
    return value[:at], row[:at], starts


def inverse_by_columns(sire: Rows, dam: Rows, f: Numbers) -> sparse.csc_array:
    """The inverse by Henderson's rules, column after column from the animal, its parents, its progeny and its mates."""
    return sparse.csc_array(columns(sire, dam, f), shape=(len(sire), len(sire)))
