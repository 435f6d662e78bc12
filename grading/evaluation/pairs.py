"""Two traits together: surface shade and undercolor, say, with what they share.

The model of `grading.evaluation.data` for both traits at once: each variance becomes a (2, 2) covariance matrix, and
what is seen of one trait tells of the other. A look may have a step of one trait only; the other is NaN. Fixed effects
work within each trait, and each trait may have its own.

animal correlation = covariance of the merits / root of the product of their variances: how far what brightens the
surface also pales the undercolor in what is bred on.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .data import Numbers, Pedigree, Records
from .design import Design
from .equations import TOLERANCE
from .errors import WrongInput
from .fisher import expected_information, small_enough
from .moments import Moments, direction
from .ratios import WITHIN, Ratio, ratio
from .reml import MOST_ROUNDS, Fit, Progress, fit
from .separable import separable
from .solving import litters_by_code, solved
from .variances import refuse_without_spread

PARTS = ("animal", "permanent", "residual", "litter")


@dataclass(frozen=True, eq=False)
class Covariances:
    """(2, 2) covariance matrices in squared steps, first trait first; permanent and litter may be zero."""

    animal: Numbers
    permanent: Numbers
    residual: Numbers
    litter: Numbers | None = None

    def __post_init__(self) -> None:
        for name in PARTS:
            given = getattr(self, name)
            try:
                matrix = np.zeros((2, 2)) if given is None else np.asarray(given, dtype=np.float64)
            except (TypeError, ValueError):
                matrix = np.full((2, 2), np.nan)  # refused below
            if matrix.shape == ():
                matrix = matrix * np.eye(2)
            if matrix.shape != (2, 2) or not np.isfinite(matrix).all() or not np.allclose(matrix, matrix.T):
                raise WrongInput(f"The {name} covariance is not a symmetric (2, 2) matrix of numbers.")
            lowest = float(np.linalg.eigvalsh(matrix)[0])
            size = float(np.abs(matrix).max())
            if lowest < -1e-9 * size or (name == "residual" and lowest <= 1e-12 * size):
                raise WrongInput(
                    f"The {name} covariance cannot be: a variance is below zero or a correlation beyond one."
                )
            object.__setattr__(self, name, (matrix + matrix.T) / 2)

    def as_moments(self) -> Moments:
        return {name: getattr(self, name) for name in PARTS}


@dataclass(frozen=True, eq=False)
class CovarianceErrors:
    """Standard error of every entry of Covariances, (2, 2) each, zero for what is not in the model."""

    animal: Numbers
    permanent: Numbers
    residual: Numbers
    litter: Numbers


@dataclass(frozen=True, eq=False)
class PairSolution:
    """Both traits of one run, first in column 0; the fields are those of Solution, fixed one dict a trait."""

    merit: Numbers
    fixed: tuple[dict[str, Numbers], dict[str, Numbers]]
    permanent: Numbers
    litter: Numbers
    rank: int
    looks: int
    converged: bool
    iterations: int
    residual_norm: float
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class CovarianceEstimate:
    """What one estimation of two traits found; errors have the shape of what they belong to.

    heritability, repeatability : one Ratio a trait. *_correlation : -1 to 1 with error and interval, None where either
    variance is zero or the effect is not in the model.
    """

    covariances: Covariances
    standard_errors: CovarianceErrors
    log_likelihood: float | None
    converged: bool
    iterations: int
    heritability: tuple[Ratio, Ratio]
    repeatability: tuple[Ratio, Ratio]
    animal_correlation: Ratio | None
    permanent_correlation: Ratio | None
    residual_correlation: Ratio | None
    exact: bool
    draws: int
    looks: int
    warnings: tuple[str, ...]


def solve_pair(
    first: Records, second: Records, pedigree: Pedigree, covariances: Covariances, *, tolerance: float = TOLERANCE
) -> PairSolution:
    """Merits of two traits from the same looks: row i of `first` and row i of `second` are one look at one animal.

    Raises WrongInput if the rows name different animals. Source: Henderson and Quaas (1976), J. Anim. Sci. 43:1188
    (from memory).
    """
    design = Design(one_look_each(first, second), pedigree)
    answer, warnings = solved(design, covariances.as_moments(), tolerance)
    fixed = [
        {factor.name: factor.table(answer.fixed[:, 0, trait]) for factor in design.factors if trait in factor.traits}
        for trait in range(2)
    ]
    return PairSolution(
        answer.animal[:, 0],
        (fixed[0], fixed[1]),
        answer.permanent[:, 0],
        litters_by_code(design, answer.litter[:, 0]),
        design.rank,
        len(design),
        answer.converged,
        answer.rounds,
        answer.residual,
        tuple(warnings),
    )


def one_look_each(first: Records, second: Records) -> Sequence[Records]:
    if not np.array_equal(first.animal, second.animal):
        raise WrongInput(
            "The two traits do not name the same animals look by look. Give both traits the same looks, with NaN "
            "where a look has only one of them."
        )
    return [first, second]


def estimate_covariances(
    first: Records,
    second: Records,
    pedigree: Pedigree,
    start: Covariances | None = None,
    litter: bool = False,
    permanent: bool = True,
    *,
    exact: bool | None = None,
    progress: Progress | None = None,
) -> CovarianceEstimate:
    """Covariances of two traits by restricted maximum likelihood; arguments and refusals as in estimate_variances.

    A residual covariance needs looks with both traits: without any this is refused.
    """
    traits = one_look_each(first, second)
    if not litter:
        traits = [Records(records.animal, records.value, records.fixed) for records in traits]
    design = Design(traits, pedigree)
    for trait in range(2):
        if design.missing[:, trait].all():
            raise WrongInput("One of the two traits was not seen in any look; estimate the other alone.")
    parts = separable(design, permanent=permanent, litter=litter)
    names, warnings = parts.names, [*design.warnings, *parts.warnings]
    if design.missing.any(axis=1).all():
        raise WrongInput("No look has both traits, so the residual covariance is not known. Estimate each alone.")
    spread = np.sqrt([refuse_without_spread(design, trait) for trait in range(2)])
    begin: Moments = {name: np.zeros((2, 2)) for name in PARTS}
    for name, share in (("animal", 0.3), ("permanent", 0.15), ("litter", 0.1), ("residual", 0.45)):
        if name in names:
            begin[name] = np.diag(share * spread**2)
    if start is not None:
        begin = {name: matrix * (name in names) for name, matrix in start.as_moments().items()}
    found = fit(design, begin, names, exact=exact, progress=progress)
    covariance = found.covariance
    if found.exact and small_enough(design):
        information = expected_information(design, found.covariances, names)
        covariance = np.asarray(np.linalg.pinv(information, hermitian=True, rcond=1e-12))
    warnings += pair_warnings(found)
    return CovarianceEstimate(
        Covariances(**{name: found.covariances[name] for name in PARTS}),
        errors_of(found, covariance),
        found.log_likelihood,
        found.converged,
        found.rounds,
        (shares(found, ["animal"], covariance, 0), shares(found, ["animal"], covariance, 1)),
        (
            shares(found, [name for name in names if name != "residual"], covariance, 0),
            shares(found, [name for name in names if name != "residual"], covariance, 1),
        ),
        correlation(found, "animal", covariance),
        correlation(found, "permanent", covariance),
        correlation(found, "residual", covariance),
        found.exact,
        found.draws,
        len(design),
        tuple(warnings),
    )


def shares(found: Fit, above: list[str], covariance: Numbers, trait: int) -> Ratio:
    """Share of one trait's variance."""
    places = [i for i, (_, k, m) in enumerate(found.parameters) if k == m == trait]
    names = [found.parameters[i][0] for i in places]
    sizes = np.array([found.covariances[name][trait, trait] for name in names])
    return ratio(sizes, covariance[np.ix_(places, places)], np.array([float(name in above) for name in names]))


def correlation(found: Fit, name: str, covariance: Numbers) -> Ratio | None:
    """Correlation with its error (delta method) and an interval symmetric on the scale of its inverse tanh."""
    places = [i for i, (of, _, _) in enumerate(found.parameters) if of == name]  # first, between, second
    matrix = found.covariances[name]
    if not places or matrix[0, 0] <= 0 or matrix[1, 1] <= 0:
        return None
    root = float(np.sqrt(matrix[0, 0] * matrix[1, 1]))
    r = float(np.clip(matrix[0, 1] / root, -1.0, 1.0))
    gradient = np.array([-r / (2 * matrix[0, 0]), 1 / root, -r / (2 * matrix[1, 1])])
    error = float(np.sqrt(max(gradient @ covariance[np.ix_(places, places)] @ gradient, 0.0)))
    if abs(r) > 0.999:
        return Ratio(r, error, max(-1.0, r - WITHIN * error), min(1.0, r + WITHIN * error))
    wide = WITHIN * error / (1 - r**2)
    return Ratio(r, error, float(np.tanh(np.arctanh(r) - wide)), float(np.tanh(np.arctanh(r) + wide)))


def errors_of(found: Fit, covariance: Numbers) -> CovarianceErrors:
    matrices: Moments = {name: np.zeros((2, 2)) for name in PARTS}
    for (name, k, m), square in zip(found.parameters, np.diag(covariance), strict=True):
        matrices[name] += float(np.sqrt(max(square, 0.0))) * direction(k, m, 2)
    return CovarianceErrors(**matrices)


def pair_warnings(found: Fit) -> list[str]:
    said = [
        f"The {name} covariances lie at the edge: some combination of the two traits shows no {name} variance, so the "
        "correlation is as good as one or a variance as good as zero."
        for name in found.floored
    ]
    if not found.converged:
        said.append(f"The estimates had not settled after {MOST_ROUNDS} rounds; take them as a rough guide.")
    return said
