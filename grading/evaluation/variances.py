"""Variance components of one trait with their errors, and the shares that breeders speak of.

heritability  = animal / (animal + permanent + litter + residual)
repeatability = (animal + permanent + litter) / the same

Standard errors are from the expected information where the looks are few (up to 1,500), else from the average
information; where expectations were sampled, what the sampling adds is inside. See `grading.evaluation.reml`.
"""

from dataclasses import dataclass

import numpy as np

from .data import Numbers, Pedigree, Records, Variances
from .design import Design
from .errors import NothingToEstimate
from .fisher import expected_information, small_enough
from .ratios import Ratio, ratio, ratio_at_zero
from .reml import MOST_ROUNDS, Fit, Progress, fit
from .separable import separable
from .solving import covariances_of

EFFECTS = ("animal", "permanent", "litter", "residual")


@dataclass(frozen=True)
class StandardErrors:
    """One for each variance, in squared steps; zero for an effect that is not in the model."""

    animal: float
    permanent: float
    residual: float
    litter: float = 0.0


@dataclass(frozen=True, eq=False)
class VarianceEstimate:
    """What one estimation found.

    log_likelihood : restricted, with all constants; None where it was not worked out because the data are large.
    covariance : (4, 4) of the errors, in the order of EFFECTS, zero for an effect that is not in the model; what they
        are worth at the edge is little.
    at_zero : names of the variances that ran to zero. exact : False where expectations were sampled, by `draws` draws.
    """

    variances: Variances
    standard_errors: StandardErrors
    log_likelihood: float | None
    converged: bool
    iterations: int
    heritability: Ratio
    repeatability: Ratio
    at_zero: tuple[str, ...]
    exact: bool
    draws: int
    looks: int
    warnings: tuple[str, ...]
    covariance: Numbers


def estimate_variances(
    records: Records,
    pedigree: Pedigree,
    start: Variances | None = None,
    litter: bool = False,
    permanent: bool = True,
    *,
    exact: bool | None = None,
    progress: Progress | None = None,
) -> VarianceEstimate:
    """Variances by restricted maximum likelihood.

    start : where to begin, found from the looks if None. litter, permanent : whether to estimate these; what cannot be
    told apart is dropped and said in `warnings`. exact : None decides by size (3,000 equations); True and False force
    exact or sampled expectations. progress : called each round with its number and the present covariances.
    Raises NothingToEstimate, with a sentence, if the looks hold nothing on variances.
    """
    design = Design([records if litter else Records(records.animal, records.value, records.fixed)], pedigree)
    found = separable(design, permanent=permanent, litter=litter)
    names, warnings = found.names, [*design.warnings, *found.warnings]
    spread = refuse_without_spread(design, 0)
    share = Variances(0.3, 0.15, 0.45, 0.1) if start is None else start
    begin = {
        name: matrix * (spread if start is None else 1.0) * (name in names)
        for name, matrix in covariances_of(share).items()
    }
    fitted = fit(design, begin, names, exact=exact, progress=progress)
    sizes = np.array([fitted.covariances[name][0, 0] for name in names])
    at_zero = tuple(name for name in names if name in fitted.floored)
    sizes[[names.index(name) for name in at_zero if name != "residual"]] = 0.0
    covariance = error_covariance(design, fitted, names)
    by_name = dict.fromkeys(EFFECTS, 0.0) | dict(zip(names, sizes.tolist(), strict=True))
    errors = dict.fromkeys(EFFECTS, 0.0) | dict(zip(names, np.sqrt(np.diag(covariance)).tolist(), strict=True))
    warnings += boundary_warnings(fitted, names, at_zero, covariance, sizes)
    return VarianceEstimate(
        Variances(**by_name),
        StandardErrors(**errors),
        fitted.log_likelihood,
        fitted.converged,
        fitted.rounds,
        share_of(["animal"], names, sizes, covariance, fitted),
        share_of([name for name in names if name != "residual"], names, sizes, covariance, fitted),
        at_zero,
        fitted.exact,
        fitted.draws,
        len(design),
        tuple(warnings),
        among_all(covariance, names),
    )


def among_all(covariance: Numbers, names: list[str]) -> Numbers:
    """The same (p, p) among all EFFECTS, (4, 4)."""
    places = [EFFECTS.index(name) for name in names]
    every = np.zeros((len(EFFECTS), len(EFFECTS)))
    every[np.ix_(places, places)] = covariance
    return every


def refuse_without_spread(design: Design, trait: int) -> float:
    """Variance of the looks of a trait about their fixed effects; refused if there is none."""
    seen = ~design.missing[:, trait]
    value = np.where(seen, design.value[:, trait], 0.0)
    kept = design.kept[:, trait]
    sums: Numbers = np.zeros(design.columns)
    for factor in design.factors:
        sums += np.bincount(factor.column, value, design.columns)
    levels = design.solved_levels(trait, sums[:, None])[:, 0]
    rest = value - sum((levels[factor.column] for factor in design.factors), np.zeros(len(design)))
    spread = float((rest[seen] ** 2).sum() / (seen.sum() - kept.sum()))
    whole = float((value[seen] ** 2).mean())
    if spread <= 1e-10 * max(whole, 1e-300):
        raise NothingToEstimate(
            "All looks show the same step once the fixed effects are allowed for, so there is no variance to divide."
        )
    return spread


def error_covariance(design: Design, fitted: Fit, names: list[str]) -> Numbers:
    """(p, p) covariance of the estimates."""
    if fitted.exact and small_enough(design):
        information = expected_information(design, fitted.covariances, names)
        return np.asarray(np.linalg.pinv(information, hermitian=True, rcond=1e-12))
    return fitted.covariance


def share_of(above: list[str], names: list[str], sizes: Numbers, covariance: Numbers, fitted: Fit) -> Ratio:
    marked = np.array([float(name in above) for name in names])
    if float(marked @ sizes) > 0:
        return ratio(sizes, covariance, marked)
    error = float(np.sqrt(marked @ covariance @ marked))
    return ratio_at_zero(float(sizes.sum()), error, float((fitted.slope * marked).sum()))


def boundary_warnings(
    fitted: Fit, names: list[str], at_zero: tuple[str, ...], covariance: Numbers, sizes: Numbers
) -> list[str]:
    said = [f"The {name} variance ran to zero: the looks show none of it." for name in at_zero if name != "residual"]
    if "residual" in at_zero:
        said.append("The residual variance ran to zero, which no real grading shows; look for looks entered twice.")
    if not fitted.converged:
        said.append(f"The estimates had not settled after {MOST_ROUNDS} rounds; take them as a rough guide.")
    spread = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    likeness = np.tril(covariance / np.outer(spread, spread), -1)
    for i, j in zip(*np.nonzero(likeness < -0.95), strict=True):
        said.append(
            f"The {names[j]} and {names[i]} variances can hardly be told apart in these looks; only their sum is known."
        )
    wide = [name for name, size, error in zip(names, sizes, spread, strict=True) if size and error > size]
    if wide:
        said.append(
            f"How large the {' and the '.join(wide)} variance is can hardly be told from these looks: "
            "its error exceeds its size."
        )
    return said
