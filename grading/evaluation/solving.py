"""Merits from looks, pedigree and variances: the solutions of the mixed model equations (best linear prediction)."""

from dataclasses import dataclass

import numpy as np

from .data import Numbers, Pedigree, Records, Rows, Variances
from .design import Design
from .equations import TOLERANCE, Answer, Equations


@dataclass(frozen=True, eq=False)
class Solution:
    """What one run found, in steps, for animals in the order given.

    merit : (n,) estimated breeding values, about the founders' mean of zero. permanent : (n,), zero for animals without
        looks. fixed : name -> solutions by code; a level set to zero for want of rank, or not seen, is 0.0; the last
        entry is that of code -1 where it occurs. litter : (highest code + 1,).
    rank : independent fixed levels. iterations : rounds of conjugate gradients, 0 where solved directly.
    residual_norm : norm left over, relative to the right-hand side. warnings : sentences.
    """

    merit: Numbers
    fixed: dict[str, Numbers]
    permanent: Numbers
    litter: Numbers
    rank: int
    looks: int
    converged: bool
    iterations: int
    residual_norm: float
    warnings: tuple[str, ...]


def solve(records: Records, pedigree: Pedigree, variances: Variances, *, tolerance: float = TOLERANCE) -> Solution:
    """Merits by the repeatability animal model of `grading.evaluation.data`.

    Up to about 3,000 equations are solved directly, more by conjugate gradients to `tolerance`. An effect whose
    variance is zero is left out, and its solutions are zero. Raises EvaluationError if no look has a value.
    Source: Henderson (1976), Biometrics 32:69-83.
    """
    design = Design([records], pedigree)
    answer, warnings = solved(design, covariances_of(variances), tolerance)
    if not design.factors and abs(mean := float(design.value.mean())) > 0.1 * np.sqrt(variances.total):
        warnings.append(
            f"No fixed effect was given, so steps count from zero, but they average {mean:.3g}. "
            "Give at least a mean, one level for all looks."
        )
    if variances.animal == 0:
        warnings.append("The animal variance is zero, so every merit is zero.")
    return Solution(
        answer.animal[:, 0, 0],
        {factor.name: factor.table(answer.fixed[:, 0, 0]) for factor in design.factors},
        answer.permanent[:, 0, 0],
        litters_by_code(design, answer.litter[:, 0, 0]),
        design.rank,
        len(design),
        answer.converged,
        answer.rounds,
        answer.residual,
        tuple(warnings),
    )


def covariances_of(variances: Variances) -> dict[str, Numbers]:
    return {name: np.array([[getattr(variances, name)]]) for name in ("animal", "permanent", "litter", "residual")}


def solved(design: Design, covariances: dict[str, Numbers], tolerance: float) -> tuple[Answer, list[str]]:
    """The answer for the looks themselves, and the sentences that go with it."""
    equations = Equations(design, covariances)
    answer = equations.solve([equations.sums(design.value)], tolerance=tolerance)
    warnings = list(design.warnings)
    if not answer.converged:
        warnings.append(
            f"The equations were not solved to the accuracy asked for: {answer.residual:.1e} was left after "
            f"{answer.rounds} rounds."
        )
    return answer, warnings


def litters_by_code(design: Design, found: Numbers) -> Numbers:
    by_code = np.zeros((int(design.litter_codes.max(initial=-1)) + 1, *found.shape[1:]))
    by_code[design.litter_codes] = found
    return by_code


def rows_with_looks(design: Design) -> Rows:
    return np.flatnonzero(design.looks.any(axis=1))
