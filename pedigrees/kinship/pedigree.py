"""Reading a pedigree: what is accepted, and the order in which parents stand before their progeny.

A pedigree is two arrays, `sire` and `dam`: entry i is the row number of that parent of animal i, or -1 if unknown.
Rows may come in any order. An unknown parent counts as a new founder, unrelated to all others and not inbred.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from .errors import BothRoles, NotRows, PedigreeError, PedigreeLoop, RowOutOfRange, SameParent, in_words

Rows = NDArray[np.int64]
Numbers = NDArray[np.float64]
Mask = NDArray[np.bool_]

UNKNOWN = -1


def ancestry_order(sire: ArrayLike, dam: ArrayLike) -> Rows:
    """Row numbers sorted so that every parent stands before its progeny, shape (n,) int64.

    Sorted by generation (0 for founders, else one more than the elder parent's), then by row, so the order is the same
    for the same pedigree. Raises PedigreeLoop, which names the rows, if an animal is its own ancestor.
    """
    return in_generations(*checked_parents(sire, dam)).rows


def refuse_both_roles(sire: ArrayLike, dam: ArrayLike) -> None:
    """Raise BothRoles if some row is a sire here and a dam there; the figures themselves would not mind."""
    sire, dam = checked_parents(sire, dam)
    both = np.intersect1d(sire[sire >= 0], dam[dam >= 0])
    if both.size:
        raise BothRoles(both)


def checked_parents(sire: ArrayLike, dam: ArrayLike) -> tuple[Rows, Rows]:
    """Both parents as int64 arrays of one length, each entry -1 or a row; else an error that names the rows."""
    sire, dam = whole_numbers(sire, "sire"), whole_numbers(dam, "dam")
    if len(sire) != len(dam):
        raise PedigreeError(
            f"There are {len(sire)} sires and {len(dam)} dams: give one of each for every row, -1 if unknown."
        )
    for parents, name in ((sire, "sire"), (dam, "dam")):
        outside = np.flatnonzero((parents < UNKNOWN) | (parents >= len(parents)))
        if outside.size:
            raise RowOutOfRange(
                f"The {name} of {in_words(outside)} is not a row of this pedigree "
                f"(first is {parents[outside[0]]}; rows go from 0 to {len(parents) - 1}, -1 if unknown).",
                outside,
            )
        own = np.flatnonzero(parents == np.arange(len(parents)))
        if own.size:
            raise PedigreeLoop(own[:1])
    same = np.flatnonzero((sire == dam) & (sire >= 0))
    if same.size:
        raise SameParent(same)
    return sire, dam


def checked_rows(rows: ArrayLike, n: int, name: str) -> Rows:
    """Rows of animals asked about, as int64, each from 0 to n - 1."""
    rows = whole_numbers(rows, name)
    outside = np.flatnonzero((rows < 0) | (rows >= n))
    if outside.size:
        raise RowOutOfRange(
            f"Entry {outside[0]} of {name} is row {rows[outside[0]]}, which this pedigree of {n} rows does not have.",
            rows[outside],
        )
    return rows


def checked_inbreeding(inbreeding: ArrayLike, n: int) -> Numbers:
    """Inbreeding as float64, shape (n,), each value from 0 to 1."""
    f = np.asarray(inbreeding, dtype=np.float64)
    if f.shape != (n,):
        raise PedigreeError(f"Inbreeding has shape {f.shape}, but the pedigree has {n} rows: give one value a row.")
    wrong = np.flatnonzero(~((f >= -1e-9) & (f <= 1 + 1e-9)))
    if wrong.size:
        raise PedigreeError(
            f"Inbreeding of {in_words(wrong)} is not between 0 and 1 (first is {f[wrong[0]]}). Work it out afresh.",
            wrong,
        )
    return f


def whole_numbers(values: ArrayLike, name: str) -> Rows:
    """One row of whole numbers as int64. Whole floats are taken; fractions, nan, true/false and text are refused."""
    given: NDArray[Any] = np.asarray(values)
    if given.ndim != 1:
        raise NotRows(f"{name} has {given.ndim} dimensions; give a plain list of row numbers.")
    if given.size == 0:
        return np.empty(0, dtype=np.int64)
    if given.dtype.kind == "f":
        wrong = np.flatnonzero(~(np.isfinite(given) & (given == np.floor(given)) & (np.abs(given) < 2**53)))
        if wrong.size:
            raise NotRows(
                f"{name} of {in_words(wrong)} is not a whole row number (first is {given[wrong[0]]}); -1 is unknown.",
                wrong,
            )
    elif given.dtype.kind == "u":
        wrong = np.flatnonzero(given > np.iinfo(np.int64).max)
        if wrong.size:
            raise RowOutOfRange(
                f"{name} of {in_words(wrong)} is too large for a row number. Use -1 for unknown.", wrong
            )
    elif given.dtype.kind != "i":
        raise NotRows(f"{name} holds {given.dtype}, not row numbers. Give whole numbers, -1 for an unknown parent.")
    return given.astype(np.int64)


@dataclass(frozen=True)
class Layers:
    """A pedigree, or the part of it that matters, sorted into generations that can be worked on all at once.

    rows : (m,) row of each place in the pedigree as given. sire, dam : (m,) places of the parents, -1 if unknown.
    bounds : (generations + 1,) generation g is at places bounds[g] to bounds[g + 1], and its parents all stand before.
    """

    rows: Rows
    sire: Rows
    dam: Rows
    bounds: Rows

    def __len__(self) -> int:
        return len(self.rows)

    def generations(self) -> list[slice]:
        return [slice(int(low), int(high)) for low, high in zip(self.bounds[:-1], self.bounds[1:], strict=True)]

    def ancestors(self, places: Rows) -> "Layers":
        """The part of this pedigree made of `places` and all their ancestors; its `rows` are places of this one."""
        wanted = np.zeros(len(self) + 1, dtype=bool)  # the last entry takes the unknown parents
        wanted[places] = True
        for layer in reversed(self.generations()[1:]):
            here = np.flatnonzero(wanted[layer]) + layer.start
            wanted[self.sire[here]] = True
            wanted[self.dam[here]] = True
        rows = np.flatnonzero(wanted[:-1])
        place = places_of(rows, len(self))
        bounds = np.unique(np.searchsorted(rows, self.bounds))
        return Layers(rows, place[self.sire[rows]], place[self.dam[rows]], bounds)


def places_of(rows: Rows, n: int) -> Rows:
    """Where each of n rows stands in `rows`, -1 for those not in it; shape (n + 1,), so that row -1 gives -1."""
    place = np.full(n + 1, UNKNOWN, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    return place


def in_generations(sire: Rows, dam: Rows) -> Layers:
    """The whole pedigree in generations; sire and dam must be checked."""
    generation = generations(sire, dam)
    rows = np.argsort(generation, kind="stable")
    place = places_of(rows, len(sire))
    bounds = np.append(0, np.cumsum(np.bincount(generation))) if len(sire) else np.zeros(1, dtype=np.int64)
    return Layers(rows, place[sire[rows]], place[dam[rows]], bounds)


def ancestors_in_generations(sire: Rows, dam: Rows, of: Rows) -> tuple[Layers, Rows]:
    """Only `of` and its ancestors, in generations, and the place of every row (-1 for those left out), shape (n + 1,).

    The cost goes with the number of ancestors, not with the pedigree, apart from one array of n entries.
    """
    wanted = np.zeros(len(sire) + 1, dtype=bool)
    wanted[-1] = True
    fresh = np.unique(of)
    while fresh.size:
        wanted[fresh] = True
        parents = np.concatenate([sire[fresh], dam[fresh]])
        fresh = np.unique(parents[~wanted[parents]])
    rows = np.flatnonzero(wanted[:-1])
    place = places_of(rows, len(sire))
    part = in_generations_of(rows, place[sire[rows]], place[dam[rows]])
    return part, places_of(part.rows, len(sire))


def in_generations_of(rows: Rows, sire: Rows, dam: Rows) -> Layers:
    """Like in_generations for a part of a pedigree, whose loops and `rows` are told by the rows of the whole."""
    try:
        part = in_generations(sire, dam)
    except PedigreeLoop as loop:
        raise PedigreeLoop(rows[list(loop.rows)]) from None
    return Layers(rows[part.rows], part.sire, part.dam, part.bounds)


def generations(sire: Rows, dam: Rows) -> Rows:
    """Longest line of known ancestors of each row, shape (n,) int64: founders 0, else the elder parent's plus one."""
    n = len(sire)
    is_parent = np.zeros(n + 1, dtype=bool)
    is_parent[sire] = True
    is_parent[dam] = True
    parents = np.flatnonzero(is_parent[:-1])  # most animals leave no progeny: only parents need sorting
    place = places_of(parents, n)
    own_sire, own_dam = place[sire[parents]], place[dam[parents]]
    generation = np.append(parents_generations(own_sire, own_dam), UNKNOWN)
    if (generation[:-1] < 0).any():
        raise PedigreeLoop(parents[find_loop(own_sire, own_dam, generation)])
    elder: Rows = np.maximum(generation[place[sire]], generation[place[dam]])
    return elder + 1


def parents_generations(sire: Rows, dam: Rows) -> Rows:
    """The same for parents among themselves; those in a loop or below one are left at -1."""
    n = len(sire)
    child, parent = np.tile(np.arange(n), 2), np.concatenate([sire, dam])
    known = parent >= 0
    progeny = sparse.csr_array((np.ones(known.sum(), np.int8), (parent[known], child[known])), shape=(n, n))
    first, count, kids = progeny.indptr.astype(np.int64), np.diff(progeny.indptr), progeny.indices
    waiting = (sire >= 0).astype(np.int8) + (dam >= 0)
    generation = np.full(n, UNKNOWN, dtype=np.int64)
    ready, number = np.flatnonzero(waiting == 0), 0
    while ready.size:
        generation[ready] = number
        counts = count[ready]
        ends = np.cumsum(counts)
        below = kids[np.repeat(first[ready] - ends + counts, counts) + np.arange(ends[-1])]
        np.subtract.at(waiting, below, 1)  # a child of two parents of this generation is counted twice
        ready = np.unique(below[waiting[below] == 0])
        number += 1
    return generation


def find_loop(sire: Rows, dam: Rows, generation: Rows) -> list[int]:
    """One loop, child to parent, among the places that no generation could be given to."""
    at, seen = int(np.flatnonzero(generation[:-1] < 0)[0]), dict[int, int]()
    while at not in seen:
        seen[at] = len(seen)
        # a place without generation has a parent without generation
        at = int(sire[at] if sire[at] >= 0 and generation[sire[at]] < 0 else dam[at])
    loop = list(seen)[seen[at] :]
    start = loop.index(min(loop))
    return loop[start:] + loop[:start]
