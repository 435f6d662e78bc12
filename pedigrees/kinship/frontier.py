"""Relationship of mated pairs by the tabular method, kept only for the parents that are still to be used.

The tabular method fills A from parents to progeny: A[i, j] = (A[sire i, j] + A[dam i, j]) / 2 for every j that is not a
descendant of i, and A[i, i] = 1 + A[sire i, dam i] / 2. Two things make it fit for a million animals:

* only parents need a row: a litter's inbreeding is half the relationship of the pair it was born of, read off once;
* a parent's row can go once its last mating is read and its last breeding progeny have their rows.

    generation   0      1      2      3           step 2 reads rows of generation 1, writes those of generation 2,
    rows kept   ####   ####                       and then drops generation 1: the table is never larger than the
                       ####   ####                parents alive at one step (overlapping generations stay longer)
                              ####   ####

Herds that never met are worked on one after the other, so that the table is as large as one of them. Where few bucks
serve many does, or the table would be larger than TABLE_BYTES, `relationships` in flow.py follows the bucks instead:
its time goes with bucks x ancestors, that of the table with the square of the parents alive at once.
Source of the recursion: Emik and Terrill (1949), Journal of Heredity 40:51-55.
"""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from .flow import FEWEST, relationships
from .pedigree import Layers, Mask, Numbers, Rows, generations, places_of

TABLE_BYTES = 3_400_000_000  # two tables of float64: 14,500 parents alive at once
# seconds, measured: for an entry of the table, for a byte of it, for a buck and an ancestor, for a block and generation
ENTRY, BYTE, FOLLOWED, BLOCK = 1e-9, 1e-9, 2e-9, 1e-4
SMALL_HERD = 2_000  # herds that never met share a table up to this many parents
TILE = 128  # a square of so many rows and columns is turned over in the cache
CACHE_BYTES = 1_500_000  # rows worked on at once should stay in the processor's cache
WORTH_A_THREAD = 500_000  # entries of the table


def mated_relationships(sire: Rows, dam: Rows, buck: Rows, doe: Rows, born_of: Rows) -> Numbers:
    """Relationship A[buck, doe] of every pair that was mated, shape (k,) float64, dimensionless, 0 to 2.

    sire, dam : (n,) checked parents. buck, doe : (k,) rows. born_of : (n,) which of these pairs the animal is from,
    -1 if a parent is unknown. Exact but for rounding, whatever the order and overlap of generations.
    """
    plan = Plan.of(sire, dam, buck, doe, born_of)
    relationship = np.zeros(len(buck) + 1)  # the last entry is that of pairs with an unknown member
    largest = int((TABLE_BYTES / 16) ** 0.5)
    by_table = plan.by_table(largest)
    table = Table(plan.widest(largest, by_table))
    inbreeding = np.zeros(len(plan.sire) + 1)
    with ThreadPoolExecutor(min(2, os.cpu_count() or 1)) as threads:
        for step, (entering, read) in enumerate(plan.steps()):
            inbreeding[entering] = relationship[plan.born_of[entering]] / 2
            if not by_table[step]:
                relationship[plan.mating[read]] = plan.following_bucks(read, inbreeding)
                continue
            keep = table.alive(plan.last_use > 2 * step)
            table.enter(entering, plan, inbreeding, keep, largest, threads)
            relationship[plan.mating[read]] = table.read(plan.buck[read], plan.doe[read])
    return relationship[:-1]


@dataclass(frozen=True)
class Plan:
    """The parents in the order in which their rows are made, step by step, and when each is used last.

    sire, dam, born_of : (m,) of each parent; places here, -1 if unknown.
    herd : (m,) parents of different herds are unrelated.
    last_use : (m,) 2 x step if used for making the rows of that step, 2 x step + 1 if a mating is read after it.
    mating, buck, doe : (k,) number of each pair and the places of its two, by the step after which it can be read.
    enters, reads : (steps + 1,) where each step begins in the parents and in the pairs.
    """

    sire: Rows
    dam: Rows
    born_of: Rows
    herd: Rows
    last_use: Rows
    mating: Rows
    buck: Rows
    doe: Rows
    enters: Rows
    reads: Rows

    @classmethod
    def of(cls, sire: Rows, dam: Rows, buck: Rows, doe: Rows, born_of: Rows) -> "Plan":
        n = len(sire)
        generation = generations(sire, dam)
        is_parent = np.zeros(n + 1, dtype=bool)
        is_parent[sire] = True
        is_parent[dam] = True
        parents = np.flatnonzero(is_parent[:-1])
        m, place = len(parents), places_of(parents, n)
        sire, dam = place[sire[parents]], place[dam[parents]]
        buck, doe = place[buck], place[doe]
        turn = founders_come_late(generation[parents], sire, dam, buck, doe)
        herd = herds_that_never_met(sire, dam, buck, doe)
        # one step for each herd and generation; within it, progeny of one sire side by side read the same rows
        order = np.lexsort((dam, sire, turn, herd))
        new = np.append(True, (np.diff(herd[order]) != 0) | (np.diff(turn[order]) != 0))[:m]
        step = np.cumsum(new) - 1
        steps = int(step[-1]) + 1 if m else 0
        now = places_of(order, m)
        sire, dam = now[sire[order]], now[dam[order]]
        buck, doe = now[buck], now[doe]
        last_use = 2 * step
        for parent in (sire, dam):
            np.maximum.at(last_use, parent[parent >= 0], 2 * step[parent >= 0])
        readable = np.maximum(step[buck], step[doe])
        for one in (buck, doe):
            np.maximum.at(last_use, one, 2 * readable + 1)
        mating = np.argsort(readable, kind="stable")
        return cls(
            sire,
            dam,
            born_of[parents[order]],
            herd[order],
            last_use,
            mating,
            buck[mating],
            doe[mating],
            np.searchsorted(step, np.arange(steps + 1)),
            np.searchsorted(readable[mating], np.arange(steps + 1)),
        )

    def steps(self) -> list[tuple[slice, slice]]:
        """For each step the parents that enter the table, and the pairs that are read after it."""
        enters, reads = self.enters.tolist(), self.reads.tolist()
        return [(slice(*enters[step : step + 2]), slice(*reads[step : step + 2])) for step in range(len(enters) - 1)]

    def sizes(self) -> tuple[Rows, Rows]:
        """How many parents enter at each step, and how many of the earlier ones are still needed after it."""
        steps = len(self.enters) - 1
        entering = np.diff(self.enters)
        born = np.repeat(np.arange(steps), entering)
        gone = np.bincount(np.maximum((self.last_use + 1) // 2, born + 1), minlength=steps + 1)[:steps]
        return entering, self.enters[:-1] - np.cumsum(gone)

    def by_table(self, largest: int) -> Mask:
        """For each step whether its herd is worked by the table: if that fits `largest` rows and should be quicker."""
        steps = len(self.enters) - 1
        entering, kept = self.sizes()
        width = 1 + kept + entering
        herd = np.unique(self.herd[self.enters[:-1]], return_inverse=True)[1]
        start = self.enters[np.searchsorted(herd, herd)]
        generation = np.arange(steps) - np.searchsorted(herd, herd)
        before = np.where(generation == 0, 1, np.append(1, width)[:steps])
        step = np.repeat(np.arange(steps), np.diff(self.reads))
        followed = np.minimum(*(self.different(one, step) for one in (self.buck, self.doe)))
        follow = FOLLOWED * followed * (self.enters[1:] - start) + BLOCK * (generation + 1) * -(followed // -FEWEST)
        table = ENTRY * (entering * (before + entering) + kept * kept)
        widest = np.zeros(steps, dtype=np.int64)
        np.maximum.at(widest, herd, width)
        quicker = np.bincount(herd, table)[herd] + BYTE * 16 * widest[herd] ** 2 < np.bincount(herd, follow)[herd]
        return np.asarray(quicker & (widest[herd] <= largest))

    def different(self, one: Rows, step: Rows) -> Rows:
        """How many different animals of `one` there are in the pairs of each step."""
        met = np.unique(step * len(self.sire) + one) // max(1, len(self.sire))
        return np.bincount(met, minlength=len(self.enters) - 1)

    def widest(self, largest: int, by_table: Mask) -> int:
        """Rows that the table will need."""
        width = widest = 1
        for entering, kept in zip(*(size[by_table].tolist() for size in self.sizes()), strict=True):
            width = entering + (width if may_append(width, kept + 1, entering, largest) else kept + 1)
            widest = max(widest, width)
        return widest

    def following_bucks(self, read: slice, inbreeding: Numbers) -> Numbers:
        """The pairs of one step without a table, from the parents entered so far; or following does, if fewer."""
        known = int(max(self.buck[read].max(), self.doe[read].max())) + 1 if read.stop > read.start else 0
        part = Layers(np.arange(known), self.sire[:known], self.dam[:known], np.unique(np.minimum(self.enters, known)))
        return relationships(part, inbreeding[:known], self.buck[read], self.doe[read])


class Table:
    """A among the parents alive now. Row and column 0 stand for the unknown parent and stay zero."""

    def __init__(self, widest: int) -> None:
        self.now = np.empty((widest, widest))
        self.next = np.empty((widest, widest))
        self.now[0, 0] = self.next[0, 0] = 0.0
        self.members = np.empty(0, dtype=np.int64)  # place in the plan of rows 1, 2, ...
        self.row = np.zeros(0, dtype=np.int64)

    def alive(self, needed: Mask) -> Rows:
        """Rows of the table that are needed beyond this step, the unknown parent's first."""
        return np.append(0, np.flatnonzero(needed[self.members]) + 1)

    def enter(
        self, entering: slice, plan: Plan, inbreeding: Numbers, keep: Rows, largest: int, threads: ThreadPoolExecutor
    ) -> None:
        """Make the rows of the parents that enter, and drop those that are not to be kept where that pays."""
        if not len(self.row):
            self.row = np.zeros(len(plan.sire) + 1, dtype=np.int64)  # row in the table; the unknown parent reads 0
        width, count = len(self.members) + 1, entering.stop - entering.start
        sire, dam = self.row[plan.sire[entering]], self.row[plan.dam[entering]]
        append = may_append(width, len(keep), count, largest)
        old, new = self.now, self.now if append else self.next
        kept = width if append else len(keep)
        diagonal = 1 + inbreeding[entering]

        def copy(low: int, high: int) -> None:
            new[low:high, :kept] = old[keep[low:high], :width].take(keep, axis=1)

        def make(low: int, high: int) -> None:
            half = np.empty((high - low, width))
            for i in range(low, high):
                np.add(old[sire[i], :width], old[dam[i], :width], out=half[i - low])
            top = min(count, -(-high // TILE) * TILE)  # so that the squares on the diagonal are whole
            fresh = half.take(sire[:top], axis=1)
            fresh += half.take(dam[:top], axis=1)
            fresh *= 0.25
            fresh[np.arange(high - low), np.arange(low, high)] = diagonal[low:high]
            half *= 0.5
            rows = new[kept + low : kept + high]
            rows[:, :kept] = half if append else half.take(keep, axis=1)
            rows[:, kept : kept + top] = fresh

        def mirror(low: int, high: int) -> None:
            for left in range(0, kept + low, TILE):
                right = min(left + TILE, kept + low)
                new[left:right, kept + low : kept + high] = new[kept + low : kept + high, left:right].T

        at_once = 2 ** int(np.log2(min(TILE // 4, max(4, CACHE_BYTES // (8 * width)))))  # a part of TILE
        if not append and kept > 1:
            in_pieces(copy, kept, at_once, kept * kept, threads)
        in_pieces(make, count, at_once, count * (width + count), threads)
        in_pieces(mirror, count, TILE, count * (kept + count), threads)
        if not append:
            self.now, self.next = new, old
            self.members = self.members[keep[1:] - 1]
        self.members = np.concatenate([self.members, np.arange(entering.start, entering.stop)])
        self.row[self.members] = np.arange(1, len(self.members) + 1)

    def read(self, buck: Rows, doe: Rows) -> Numbers:
        return self.now[self.row[buck], self.row[doe]]


def may_append(width: int, kept: int, entering: int, largest: int) -> bool:
    """Whether to write below the old rows: while most are in use, moving those costs more than carrying the rest."""
    return width > 1 and 4 * kept >= 3 * width and width + entering <= largest


def in_pieces(
    work: Callable[[int, int], None], count: int, size: int, entries: int, threads: ThreadPoolExecutor
) -> None:
    """Call work(low, high) over 0 to count; on both cores if there is enough of it (NumPy lets go of the lock)."""
    lows = range(0, count, size)
    highs = [min(low + size, count) for low in lows]
    if entries < WORTH_A_THREAD:
        for low, high in zip(lows, highs, strict=True):
            work(low, high)
    else:
        for _ in threads.map(work, reversed(lows), reversed(highs)):  # the long rows first
            pass


def founders_come_late(generation: Rows, sire: Rows, dam: Rows, buck: Rows, doe: Rows) -> Rows:
    """The turn of each parent: its generation, but an imported founder waits until its first mate is there."""
    founder = (sire < 0) & (dam < 0)
    turn = np.where(founder, np.iinfo(np.int64).max, generation)
    ready = np.where(founder, 0, generation)
    np.minimum.at(turn, buck, ready[doe])
    np.minimum.at(turn, doe, ready[buck])
    for parent, other in ((sire, dam), (dam, sire)):
        alone = parent[(parent >= 0) & (other < 0)]
        turn[alone] = np.minimum(turn[alone], ready[alone])
    turn[founder & (turn == np.iinfo(np.int64).max)] = 0
    return np.where(founder, turn, generation)


def herds_that_never_met(sire: Rows, dam: Rows, buck: Rows, doe: Rows) -> Rows:
    """A number for each parent; parents with different numbers have no ancestor, mate or progeny in common."""
    m = len(sire)
    own = np.arange(m)
    one = np.concatenate([own[sire >= 0], own[dam >= 0], buck])
    other = np.concatenate([sire[sire >= 0], dam[dam >= 0], doe])
    joined = sparse.csr_array((np.ones(len(one), np.int8), (one, other)), shape=(m, m))
    herd = sparse.csgraph.connected_components(joined, directed=False)[1]
    size = np.bincount(herd, minlength=1)
    largest_first = np.argsort(-size, kind="stable")
    together = np.empty(len(size), dtype=np.int64)
    before = np.cumsum(size[largest_first]) - size[largest_first]
    together[largest_first] = before // SMALL_HERD
    number: Rows = together[herd]
    return number
