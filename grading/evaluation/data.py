"""What goes into an evaluation: who descends from whom, what was seen, and how much of it is inherited.

The model, for look r of animal i in litter l:

    value[r] = sum of fixed effects[r] + merit[i] + permanent[i] + litter[l] + residual[r]

    merit     ~ N(0, A animal)         A is the relationship matrix of the pedigree
    permanent ~ N(0, I permanent)      what stays with the animal and is not inherited by adding up
    litter    ~ N(0, I litter)         what kits born together share beyond their parents
    residual  ~ N(0, I residual)       this look alone; rounding to whole steps is part of it

All values are in steps of the trait, all variances in squared steps.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from pedigrees import kinship
from pedigrees.kinship.pedigree import Layers, checked_parents, in_generations

from .errors import WrongInput

Numbers = NDArray[np.float64]
Rows = NDArray[np.int64]
Mask = NDArray[np.bool_]

HIGHEST_CODE = 50_000_000  # answers are tables by code


@dataclass(frozen=True, eq=False)
class Pedigree:
    """Parents of n animals, and what follows from them, worked out when first asked for.

    sire, dam : (n,) int row of each parent, -1 unknown, in any order. An unknown parent is a new, unrelated founder.
    Raises kinship.PedigreeError, with a sentence that names the rows, for loops and wrong rows.
    """

    sire: Rows
    dam: Rows

    def __post_init__(self) -> None:
        sire, dam = checked_parents(self.sire, self.dam)
        object.__setattr__(self, "sire", sire)
        object.__setattr__(self, "dam", dam)
        _ = self.layers  # refuses loops at once

    def __len__(self) -> int:
        return len(self.sire)

    @cached_property
    def layers(self) -> Layers:
        return in_generations(self.sire, self.dam)

    @cached_property
    def inbreeding(self) -> Numbers:
        """(n,) Wright's F, 0 to 1."""
        return kinship.inbreeding(self.sire, self.dam)

    @cached_property
    def mendelian(self) -> Numbers:
        """(n,) variance new in each animal over the additive variance, 0 to 1."""
        return kinship.mendelian_variance(self.sire, self.dam, self.inbreeding)

    @cached_property
    def inverse(self) -> sparse.csr_array:
        """(n, n) inverse of the relationship matrix."""
        return kinship.relationship_inverse(self.sire, self.dam, self.inbreeding).T.tocsr()


@dataclass(frozen=True, eq=False)
class Records:
    """Looks at animals of a pedigree, one trait.

    animal : (r,) int, row of the pedigree. value : (r,) float in steps; NaN is a look without this trait, left out.
    fixed : name -> (r,) int codes from 0; -1, where it is not known, is a level of its own. The effects are taken as
        given: with none at all the values are departures from a known zero, so give {"mean": zeros} for a mean.
    litter : (r,) int codes from 0, -1 where the look takes no litter effect; None if there are no litters.
    """

    animal: Rows
    value: Numbers
    fixed: Mapping[str, Rows] = field(default_factory=dict)
    litter: Rows | None = None

    def __post_init__(self) -> None:
        animal = codes(self.animal, "animal", lowest=0)
        try:
            value = np.asarray(self.value, dtype=np.float64)
        except (TypeError, ValueError):
            raise WrongInput("A value is not a number; give steps as numbers, NaN where there is none.") from None
        fixed = {str(name): codes(given, str(name)) for name, given in (self.fixed or {}).items()}
        litter = None if self.litter is None else codes(self.litter, "litter")
        columns = {"value": value, **fixed} | ({} if litter is None else {"litter": litter})
        for name, given in columns.items():
            if given.shape != animal.shape:
                raise WrongInput(f"There are {len(animal)} looks, but {name} has shape {given.shape}: give one a look.")
        endless = np.flatnonzero(np.isinf(value))
        if endless.size:
            raise WrongInput(f"The value of look {endless[0]} is not a number of steps: {value[endless[0]]}.")
        object.__setattr__(self, "animal", animal)
        object.__setattr__(self, "value", value)
        object.__setattr__(self, "fixed", fixed)
        object.__setattr__(self, "litter", litter)

    def __len__(self) -> int:
        return len(self.animal)


@dataclass(frozen=True)
class Variances:
    """Variance components in squared steps; residual is above zero, the others are zero or more."""

    animal: float
    permanent: float
    residual: float
    litter: float = 0.0

    def __post_init__(self) -> None:
        for name in ("animal", "permanent", "residual", "litter"):
            try:
                given = float(getattr(self, name))
            except (TypeError, ValueError):
                raise WrongInput(
                    f"The {name} variance is {getattr(self, name)}; a variance is a number of zero or more."
                ) from None
            if not np.isfinite(given) or given < 0:
                raise WrongInput(f"The {name} variance is {given}; a variance is a number of zero or more.")
            object.__setattr__(self, name, given)
        if self.residual == 0:
            raise WrongInput("The residual variance is zero: no grader repeats himself exactly. Give one above zero.")

    @property
    def total(self) -> float:
        return self.animal + self.permanent + self.litter + self.residual

    @property
    def heritability(self) -> float:
        return self.animal / self.total

    @property
    def repeatability(self) -> float:
        """Likeness of two looks at one animal: all but the residual over all."""
        return (self.total - self.residual) / self.total


def codes(given: ArrayLike, name: str, *, lowest: int = -1) -> Rows:
    """Whole numbers from `lowest`, as (r,) int64; anything else is refused with the first that is wrong."""
    array = np.asarray(given)
    if array.ndim != 1:
        raise WrongInput(f"{name} has {array.ndim} dimensions; give one whole number a look.")
    if not array.size:
        return np.zeros(0, dtype=np.int64)
    if array.dtype.kind not in "iufb":
        raise WrongInput(f"{name} holds {array.dtype}; give whole numbers, one a look.")
    if array.dtype.kind == "f" and not (np.isfinite(array) & (array == np.floor(array))).all():
        raise WrongInput(f"{name} holds numbers that are not whole; give codes such as 0, 1, 2.")
    whole = array.astype(np.int64)
    if whole.min() < lowest:
        raise WrongInput(f"{name} of look {np.argmin(whole)} is {whole.min()}; the lowest code is {lowest}.")
    if whole.max() > HIGHEST_CODE:
        raise WrongInput(f"{name} of look {np.argmax(whole)} is {whole.max()}; number the levels from 0 on.")
    return whole
