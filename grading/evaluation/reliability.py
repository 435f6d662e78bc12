"""How well merits are known: reliability, prediction error variances and covariances.

reliability[i] = 1 - PEV[i] / ((1 + F[i]) animal variance)

PEV, the prediction error variance, is from the inverse of the whole equations, fixed effects among them: an animal that
can only be compared within its own herd and grader is less well known than its looks alone would say.

Exact up to 5,000 equations. Above, PEV is the sum of two parts. What it would be with fixed effects known comes from
messages along the pedigree (`grading.evaluation.messages`; a litter variance counts as the animal's own). What the
fixed effects add is drawn: looks are made up from the model and solved with and without fixed effects; the mean squared
difference of the two merits is that part, with a relative error of about root(2 / draws). `reliability_error` measures
the whole against exact values on a sample of animals.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedigrees.kinship.flow import Flow

from .data import Numbers, Pedigree, Records, Rows, Variances
from .design import Design
from .equations import Equations
from .errors import EvaluationError, WrongInput
from .messages import passed
from .moments import Draws, Moments
from .pairs import Covariances, one_look_each
from .solving import covariances_of

MOST_EXACT, MOST_FORCED = 5000, 12000
SAMPLE_SEED = 20240301


def reliability(records: Records, pedigree: Pedigree, variances: Variances, exact: bool | None = None) -> Numbers:
    """Reliability of every merit, (n,), 0 to below 1, in the order given.

    exact : None decides by size, True forces the inverse (up to 12,000 equations, about 3 GB), False the approximation.
    Source: Henderson (1975), Biometrics 31:423-447, for the exact part.
    """
    if variances.animal == 0:
        return np.zeros(len(pedigree))
    design = Design([records], pedigree)
    covariances = covariances_of(variances)
    equations = Equations(design, covariances)
    if exact is None:
        exact = equations.size <= MOST_EXACT
    if exact:
        if equations.size > MOST_FORCED:
            raise EvaluationError(
                f"Exact reliabilities of {equations.size} equations do not fit in memory; at most {MOST_FORCED} do. "
                "Ask for the approximation, and for its measured error."
            )
        errors = np.diag(equations.inverse())[-len(pedigree) :]
    else:
        errors = approximate_errors(design, covariances)
    return as_reliability(errors, pedigree, variances)


def as_reliability(errors: Numbers, pedigree: Pedigree, variances: Variances) -> Numbers:
    return np.clip(1.0 - errors / ((1.0 + pedigree.inbreeding) * variances.animal), 0.0, 1.0 - 1e-12)


def draws_for(size: int) -> int:
    return 32 if size <= 150_000 else 8


def approximate_errors(design: Design, covariances: Moments) -> Numbers:
    """PEV of every merit by messages and draws, (n,)."""
    animal = covariances["animal"][0, 0]
    joined = dict(covariances)
    joined["permanent"] = covariances["permanent"] + (covariances["litter"] if design.litters else 0.0)
    own = Equations(design, joined, dense=False).reduced[:, 0, 0] * animal
    errors = animal / passed(design.pedigree, own)
    if design.columns:
        errors = errors + errors_through_fixed(design, covariances)
    return np.asarray(errors)


def errors_through_fixed(design: Design, covariances: Moments) -> Numbers:
    """What not knowing the fixed effects adds to each PEV, (n,), drawn."""
    with_fixed = Equations(design, covariances, dense=False)
    draws = Draws(design, draws_for(with_fixed.size), SAMPLE_SEED)
    known = Equations(design.without_fixed(), covariances, dense=False)
    total, at_once = np.zeros(design.animals), 8
    for first in range(0, draws.columns, at_once):
        columns = range(first, min(first + at_once, draws.columns))
        sums = [with_fixed.sums(draws.looks(covariances, column)) for column in columns]
        one = with_fixed.solve(sums, tolerance=1e-4).animal
        other = known.solve([(np.zeros((0, 1)), litter, animal) for _, litter, animal in sums], tolerance=1e-4).animal
        total += ((one - other) ** 2).sum(axis=(1, 2))
    return total / draws.columns


@dataclass(frozen=True, eq=False)
class ReliabilityError:
    """Approximate reliabilities against exact ones: rows (k,) of a random sample, exact and approximate (k,)."""

    rows: Rows
    exact: Numbers
    approximate: Numbers

    @property
    def mean(self) -> float:
        """Approximate less exact, on average."""
        return float((self.approximate - self.exact).mean())

    @property
    def root_mean_square(self) -> float:
        return float(np.sqrt(((self.approximate - self.exact) ** 2).mean()))

    @property
    def largest(self) -> float:
        return float(np.abs(self.approximate - self.exact).max())


def reliability_error(
    records: Records, pedigree: Pedigree, variances: Variances, approximate: ArrayLike, sample: int = 100
) -> ReliabilityError:
    """The error of approximate reliabilities (n,), measured on a seeded sample of animals, each solved for."""
    approximate = np.asarray(approximate, dtype=np.float64)
    rng = np.random.default_rng(SAMPLE_SEED)
    rows = np.sort(rng.choice(len(pedigree), min(sample, len(pedigree)), replace=False))
    errors = np.zeros(len(pedigree))
    for few in np.array_split(rows, max(1, len(rows) // 10)):
        errors[few] = np.diag(prediction_errors(records, pedigree, variances, few))
    return ReliabilityError(rows, as_reliability(errors, pedigree, variances)[rows], approximate[rows])


def prediction_errors(records: Records, pedigree: Pedigree, variances: Variances, rows: ArrayLike) -> Numbers:
    """Covariances of the errors of the merits of some animals, (k, k) in squared steps; exact for any size."""
    return errors_between(Design([records], pedigree), covariances_of(variances), rows)[:, 0, :, 0]


def prediction_errors_pair(
    first: Records, second: Records, pedigree: Pedigree, covariances: Covariances, rows: ArrayLike
) -> Numbers:
    """The same for two traits together, (k, 2, k, 2): entry [i, s, j, t] is of trait s of i with trait t of j."""
    return errors_between(Design(one_look_each(first, second), pedigree), covariances.as_moments(), rows)


def errors_between(design: Design, covariances: Moments, rows: ArrayLike) -> Numbers:
    wanted = np.asarray(rows, dtype=np.int64).ravel()
    if wanted.size and not (wanted.min() >= 0 and wanted.max() < design.animals):
        raise WrongInput(f"Rows go from 0 to {design.animals - 1}, and one asked about is not among them.")
    t, k = design.traits, len(wanted)
    weights = np.zeros((design.animals, k * t, t))
    for trait in range(t):
        weights[wanted, np.arange(k) * t + trait, trait] = 1.0
    solved = errors_times(design, covariances, weights)
    return solved[wanted].transpose(1, 0, 2).reshape(k, t, k, t)


def errors_times(design: Design, covariances: Moments, weights: Numbers) -> Numbers:
    """Error covariances of all merits times weights (n, columns, t), the same shape."""
    equations = Equations(design, covariances)
    if equations.animal is None:
        return np.zeros_like(weights)
    solver = equations.solve_dense if equations.dense else equations.solve_gradients
    columns = weights.shape[1]
    empty = np.zeros((design.columns, columns, design.traits)), np.zeros((equations.q, columns, design.traits))
    return solver(*empty, weights, None, 1e-9)[2]


def errors_of_means(
    records: Records, pedigree: Pedigree, variances: Variances, group: ArrayLike
) -> tuple[Rows, Numbers, Numbers]:
    """Errors of the mean merit of groups of animals: years of birth, herds.

    group : (n,) int code of each animal, below zero for none. Returns the codes (g,), the covariances of the errors of
    the g means, and what these would be without a single look (founders' spread only), (g, g) each.
    """
    group = np.asarray(group)
    if group.shape != (len(pedigree),):
        raise WrongInput(f"Give one group an animal: {len(pedigree)}, not {group.shape}.")
    inside = group >= 0
    codes, place = np.unique(group[inside], return_inverse=True)
    weights = np.zeros((len(pedigree), len(codes), 1))
    weights[np.flatnonzero(inside), place, 0] = 1.0
    weights /= np.maximum(weights.sum(axis=0), 1.0)
    design = Design([records], pedigree)
    solved = errors_times(design, covariances_of(variances), weights)
    spread = relationship_of(pedigree, weights[:, :, 0]) * variances.animal
    of_means = weights[:, :, 0].T @ solved[:, :, 0]
    return codes, (of_means + of_means.T) / 2, spread


def relationship_of(pedigree: Pedigree, weights: Numbers) -> Numbers:
    """w' A w for columns of weights (n, g), without forming A."""
    layers = pedigree.layers
    up: Numbers = Flow(layers).up(weights[layers.rows].copy())
    return np.asarray((up * pedigree.mendelian[layers.rows, None]).T @ up)
