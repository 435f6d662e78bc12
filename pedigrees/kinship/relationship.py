"""Relationship between animals: coancestry of pairs, and the inverse of the whole relationship matrix."""

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse

from .coefficient import inbreeding_of_checked
from .errors import PedigreeError, SameParent, in_words
from .flow import Flow, new_variance, relationships
from .pedigree import (
    Layers,
    Numbers,
    Rows,
    ancestors_in_generations,
    checked_inbreeding,
    checked_parents,
    checked_rows,
    generations,
)


def coancestry(
    sire: ArrayLike, dam: ArrayLike, first: ArrayLike, second: ArrayLike, *, inbreeding: ArrayLike | None = None
) -> Numbers:
    """Coancestry (kinship) of k pairs of animals, shape (k,) float64, 0 to 1: half their relationship.

    It is the inbreeding that progeny of the pair would have; of an animal with itself it is (1 + F) / 2.
    first, second : (k,) rows; pair j is first[j] with second[j]. inbreeding : (n,) if known already for all rows, which
    saves working it out; it is trusted. Only ancestors of the pairs are looked at, so a loop elsewhere goes unseen.
    The cost goes with the number of different animals in `first`: put the fewer there.
    """
    sire, dam = checked_parents(sire, dam)
    first, second = checked_rows(first, len(sire), "first"), checked_rows(second, len(sire), "second")
    if len(first) != len(second):
        raise PedigreeError(f"There are {len(first)} first and {len(second)} second animals: give as many of each.")
    layers, place = ancestors_in_generations(sire, dam, np.concatenate([first, second]))
    return relationships(layers, known_or_new(layers, inbreeding, len(sire)), place[first], place[second]) / 2


def litter_inbreeding(sire: ArrayLike, dam: ArrayLike, inbreeding: ArrayLike, buck: int, doe: int) -> float:
    """Inbreeding that a litter of this buck and doe has, from the stored inbreeding of all rows, shape (n,)."""
    if buck == doe:
        raise SameParent([buck])
    return float(coancestry(sire, dam, [buck], [doe], inbreeding=inbreeding)[0])


def mean_coancestry(
    sire: ArrayLike, dam: ArrayLike, cohort: ArrayLike, *, inbreeding: ArrayLike | None = None
) -> float:
    """Mean coancestry over all pairs of the cohort, each animal with itself too; nan for an empty cohort."""
    sire, dam = checked_parents(sire, dam)
    cohort = checked_rows(cohort, len(sire), "cohort")
    if not len(cohort):
        return float("nan")
    layers, place = ancestors_in_generations(sire, dam, cohort)
    share = Flow(layers).up(np.bincount(place[cohort], minlength=len(layers)) / len(cohort))
    variance = new_variance(layers.sire, layers.dam, known_or_new(layers, inbreeding, len(sire)))
    return float((share * share) @ variance) / 2


def known_or_new(layers: Layers, inbreeding: ArrayLike | None, n: int) -> Numbers:
    """Inbreeding of the places in `layers`: looked up if given for all n rows, else worked out."""
    if inbreeding is not None:
        return checked_inbreeding(inbreeding, n)[layers.rows]
    return inbreeding_of_checked(layers.sire, layers.dam)


def relationship_inverse(sire: ArrayLike, dam: ArrayLike, inbreeding: ArrayLike) -> sparse.csc_array:
    """Inverse of the additive relationship matrix A, straight from the pedigree.

    sire, dam : (n,) parents as everywhere. inbreeding : (n,) float64, Wright's F of each row, 0 to 1.
    Returns csc_array of float64, shape (n, n), symmetric to the last bit, indices sorted; row i is animal i as given.
    Each animal with new variance v adds 1/v at itself, -1/2v between itself and each known parent, and 1/4v at and
    between the parents. A litter of two fully inbred parents has nothing new and no inverse: refused.
    Source: Henderson (1976), Biometrics 32:69-83; Quaas (1976), Biometrics 32:949-953.
    """
    sire, dam = checked_parents(sire, dam)
    n = len(sire)
    generations(sire, dam)  # refuses loops
    variance = new_variance(sire, dam, checked_inbreeding(inbreeding, n))
    nothing_new = np.flatnonzero(variance < 1e-12)
    if nothing_new.size:
        raise PedigreeError(
            f"Both parents of {in_words(nothing_new)} are fully inbred, so the relationship matrix has no inverse. "
            "Leave these animals out, or check the inbreeding given.",
            nothing_new,
        )
    half = half_of_inverse(sire, dam, 1 / variance)
    both = half + half.T.tocsr()
    # symmetric, so that its rows are its columns
    return sparse.csc_array((both.data, both.indices, both.indptr), shape=(n, n))


def half_of_inverse(sire: Rows, dam: Rows, weight: Numbers) -> sparse.csr_array:
    """X, shape (n, n), with X + X' the inverse: half the diagonal, each animal with its parents, each sire with dam.

    Every entry is made once, rather than as part of a product of three matrices, which takes longer.
    """
    n = len(sire)
    diagonal = weight.copy()
    for parent in (sire, dam):
        diagonal += np.bincount(parent + 1, weight / 4, minlength=n + 1)[1:]
    who = np.stack([np.arange(n), sire, dam], axis=1, dtype=np.int32)
    what = np.stack([diagonal / 2, weight / -2, weight / -2], axis=1)
    known = who >= 0
    ends = np.append(0, np.cumsum(known.sum(axis=1))).astype(np.int32)
    with_parents = sparse.csc_array((what[known], who[known], ends), shape=(n, n))
    pair = (sire >= 0) & (dam >= 0)
    mated = sparse.coo_array((weight[pair] / 4, (sire[pair], dam[pair])), shape=(n, n))
    return with_parents.tocsr() + mated.tocsr()  # both now with columns in order, which makes sums quick
