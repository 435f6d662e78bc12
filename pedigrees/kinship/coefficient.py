"""Wright's coefficient of inbreeding, and the variance that is new in each animal."""

import numpy as np
from numpy.typing import ArrayLike

from .flow import new_variance
from .frontier import mated_relationships
from .pedigree import Numbers, Rows, checked_inbreeding, checked_parents


def inbreeding(sire: ArrayLike, dam: ArrayLike) -> Numbers:
    """Wright's F of every animal, shape (n,) float64, dimensionless, 0 to 1; entry i is row i as given.

    sire, dam : (n,) whole row numbers of the parents, rows in any order, -1 if unknown (a new founder, unrelated to
    all others and not inbred).
    Exact for any pedigree but for rounding, which stays near 1e-15. Full sibs share one value, so the cost goes with
    the number of litters and of parents. Raises PedigreeLoop or another PedigreeError that names the rows.
    Source: Wright (1922), American Naturalist 56:330-338; F is half the relationship of the parents.
    """
    return inbreeding_of_checked(*checked_parents(sire, dam))


def inbreeding_of_checked(sire: Rows, dam: Rows) -> Numbers:
    n = len(sire)
    both = (sire >= 0) & (dam >= 0)
    pairs, mating = np.unique(sire[both] * n + dam[both], return_inverse=True)
    born_of = np.full(n, -1, dtype=np.int64)
    born_of[both] = mating
    f = np.zeros(n)
    f[both] = mated_relationships(sire, dam, pairs // n, pairs % n, born_of)[mating] / 2
    return f


def mendelian_variance(sire: ArrayLike, dam: ArrayLike, inbreeding: ArrayLike) -> Numbers:
    """Variance new in each animal, by the chance of which half it got, over the additive variance; shape (n,), 0 to 1.

    Both parents known 1/2 - (F sire + F dam) / 4, one known 3/4 - F / 4, none 1. inbreeding : (n,) of all rows.
    Source: Quaas (1976), Biometrics 32:949-953.
    """
    sire, dam = checked_parents(sire, dam)
    return new_variance(sire, dam, checked_inbreeding(inbreeding, len(sire)))
