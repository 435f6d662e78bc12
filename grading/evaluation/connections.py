"""Which graders, or herds, can be compared, and how well.

Groups meet through the same animals, through relatives, or, weaker, through families without a link between them of
which looks share a level of a fixed effect: one grader saw both. Sharing one effect is not enough: two graders, each
with an own unrelated herd, both see seniors, and still nobody knows whether a difference is the graders' or the
animals'. So groups belong together only where they do for every fixed effect by itself (families and its levels as a
graph). This is needed for a comparison; two effects that confound families only jointly are left to `known`.

known[i, j] = 1 - var(error of the difference) / var(difference before any look), for the mean merits of the animals
seen in groups i and j: 0 where the looks say nothing on it, 1 where they say all (Laloe 1993, Genet. Sel. Evol. 25:557,
from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from .data import Numbers, Pedigree, Records, Rows, Variances, codes
from .design import Design, listed, within
from .errors import WrongInput
from .reliability import errors_times, relationship_of
from .solving import covariances_of

MOST_GROUPS = 200


@dataclass(frozen=True, eq=False)
class Components:
    """Levels of two effects as the two sides of a graph; an edge where they meet in a look.

    first, second : codes in order, with first_part, second_part the number of the part each belongs to, from 0.
    levels : of both effects. rank : of both fitted together, levels - parts. Inside one part all can be compared.
    """

    first: Rows
    first_part: Rows
    second: Rows
    second_part: Rows
    levels: int
    rank: int
    parts: int


def components(first: ArrayLike, second: ArrayLike) -> Components:
    """The parts that two effects fall into, from their codes look by look, (r,) each."""
    one, other = codes(np.asarray(first), "first"), codes(np.asarray(second), "second")
    if one.shape != other.shape:
        raise WrongInput("Give both effects look by look, as many of each.")
    level_one, place_one = np.unique(one, return_inverse=True)
    level_two, place_two = np.unique(other, return_inverse=True)
    levels = len(level_one) + len(level_two)
    edges = sparse.coo_array((np.ones(len(one)), (place_one, place_two + len(level_one))), shape=(levels, levels))
    parts, label = connected_components(edges.tocsr(), directed=False) if levels else (0, np.zeros(0, dtype=np.int64))
    label = label.astype(np.int64)
    return Components(
        level_one, label[: len(level_one)], level_two, label[len(level_one) :], levels, levels - parts, int(parts)
    )


@dataclass(frozen=True, eq=False)
class Connectedness:
    """How g groups of looks hang together, in order of their codes.

    group, looks, animals : (g,). same_animals, same_sires : (g, g) animals seen in both, sires with kits seen in both.
    part : (g,) groups of one number can be compared, as above. through : (g,) numbers of the groups that meet through
    animals, relatives, or levels of another fixed effect, each by itself. known : (g, g), see above, and
    difference_error : (g, g) standard error of the difference in mean merit; both None where no variances were given.
    """

    group: Rows
    looks: Rows
    animals: Rows
    same_animals: Numbers
    same_sires: Numbers
    part: Rows
    through: Mapping[str, Rows]
    known: Numbers | None
    difference_error: Numbers | None
    warnings: tuple[str, ...]


def connectedness(
    records: Records, pedigree: Pedigree, group: ArrayLike | str, variances: Variances | None = None
) -> Connectedness:
    """How groups of looks hang together. group : (r,) int codes, or the name of a fixed effect of the records.

    With variances, how well each two groups' mean merits can be compared comes too, for up to 200 groups.
    """
    if isinstance(group, str):
        if group not in records.fixed:
            raise WrongInput(f"The looks have no effect named {group}; they have {', '.join(records.fixed) or 'none'}.")
        group = records.fixed[group]
    of_look = codes(np.asarray(group), "group")
    if of_look.shape != records.animal.shape:
        raise WrongInput(f"There are {len(records)} looks, but group has shape {of_look.shape}: give one a look.")
    within(records.animal, pedigree)
    graded = ~np.isnan(records.value)
    level, place = np.unique(of_look[graded], return_inverse=True)
    animal = records.animal[graded]
    g, n = len(level), len(pedigree)
    met = sparse.coo_array((np.ones(len(place)), (place, animal)), shape=(g, n)).tocsr()
    met.data[:] = 1.0
    kits = np.flatnonzero(pedigree.sire >= 0)
    of_sire = sparse.coo_array((np.ones(len(kits)), (kits, pedigree.sire[kits])), shape=(n, n)).tocsr()
    by_sire = met @ of_sire
    by_sire.data[:] = 1.0
    through = {"animals": parts_of(met)}
    ancestors = lines(pedigree)
    family = sparse.coo_array((np.ones(len(place)), (place, ancestors[animal])), shape=(g, n)).tocsr()
    through["relatives"] = part = parts_of(family)
    by_effect = []
    for name, given in records.fixed.items():
        other, column = np.unique(given[graded], return_inverse=True)
        if len(other) < 2:
            continue  # one level for all is no meeting place
        if not np.array_equal(given, of_look):
            meets = sparse.coo_array((np.ones(len(place)), (place, column)), shape=(g, len(other))).tocsr()
            through[name] = parts_of(meets)
        shared = sparse.coo_array((np.ones(len(place)), (column, ancestors[animal])), shape=(len(other), n)).tocsr()
        by_effect.append(parts_of(sparse.vstack([family, shared]).tocsr())[:g])
    if by_effect:
        part = together(by_effect)
    known, difference = None, None
    if variances is not None and 1 < g <= MOST_GROUPS:
        known, difference = comparable(records, pedigree, variances, met)
    return Connectedness(
        level,
        np.bincount(place, minlength=g),
        np.diff(met.indptr).astype(np.int64),
        (met @ met.T).toarray(),
        (by_sire @ by_sire.T).toarray(),
        part,
        through,
        known,
        difference,
        tuple(said_of(level, part, through, known)),
    )


def parts_of(met: sparse.csr_array) -> Rows:
    """Number of the part of each row; rows with a column in common are in one part."""
    rows, columns = met.shape
    graph = sparse.block_array([[None, met], [met.T, None]]) if columns else sparse.csr_array((rows, rows))
    label = connected_components(graph.tocsr(), directed=False)[1][:rows]
    _, first, number = np.unique(label, return_index=True, return_inverse=True)
    return np.asarray(np.argsort(np.argsort(first))[number])


def together(numbers: Sequence[Rows]) -> Rows:
    """Number of the part of each group, where groups are together in every one of several numberings."""
    _, first, number = np.unique(np.stack(numbers), axis=1, return_index=True, return_inverse=True)
    return np.asarray(np.argsort(np.argsort(first))[number.ravel()])


def lines(pedigree: Pedigree) -> Rows:
    """(n,) a number for each set of animals that are related through any chain of parents and kits."""
    n = len(pedigree)
    child = np.tile(np.arange(n), 2)
    parent = np.concatenate([pedigree.sire, pedigree.dam])
    known = parent >= 0
    graph = sparse.coo_array((np.ones(int(known.sum())), (child[known], parent[known])), shape=(n, n)).tocsr()
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def comparable(
    records: Records, pedigree: Pedigree, variances: Variances, met: sparse.csr_array
) -> tuple[Numbers, Numbers]:
    """known and difference_error of every two groups."""
    weights = np.asarray(met.T.toarray())
    weights /= np.maximum(weights.sum(axis=0), 1.0)
    solved = errors_times(Design([records], pedigree), covariances_of(variances), weights[:, :, None])[:, :, 0]
    after = of_differences(weights.T @ solved)
    before = of_differences(relationship_of(pedigree, weights) * variances.animal)
    known = np.where(before > 1e-12, 1.0 - after / np.where(before > 1e-12, before, 1.0), 1.0)
    return np.clip(known, 0.0, 1.0), np.sqrt(np.maximum(after, 0.0))


def of_differences(covariance: Numbers) -> Numbers:
    own = np.diag(covariance)
    return np.maximum(own[:, None] + own - covariance - covariance.T, 0.0)


def said_of(level: Rows, part: Rows, through: Mapping[str, Rows], known: Numbers | None) -> list[str]:
    said = []
    if part.max(initial=0) > 0:
        rest = level[part != part[0]]
        said.append(
            f"Groups {listed(rest)} cannot be compared with group {level[0]}: no animal, no relative and no other "
            "effect joins them. A difference between them cannot be laid to the animals or to the graders."
        )
    elif through["animals"].max(initial=0) > 0:
        by = "relatives" if through["relatives"].max() == 0 else "relatives and through other effects that they share"
        said.append(f"Not all groups share animals; they are compared through {by}, which is weaker.")
    if known is not None and (known < 0.1).any():
        pair = np.unravel_index(int(np.argmin(known)), known.shape)
        said.append(
            f"Groups {level[pair[0]]} and {level[pair[1]]} can hardly be compared: the looks settle "
            f"{100 * known[pair]:.0f} % of what could differ between their animals."
        )
    return said
