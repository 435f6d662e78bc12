"""How well sums of fixed levels are known: who leans by how much, and how all looks of a year differ from others.

A sum is given as weights on levels, such as each grader's share of a year's looks. Its error variance is w' C w, with C
the block of the fixed levels in the inverse of the whole equations. A sum that the looks cannot tell (it changes with
the choice of the levels that were set to zero) is marked, since its value means nothing.
Source: Henderson (1975), Biometrics 31:423-447; estimable functions as in Searle (1971), Linear Models (from memory).
"""

from collections.abc import Mapping

import numpy as np

from .data import Mask, Numbers, Pedigree, Records, Variances
from .design import Design
from .equations import Equations
from .errors import WrongInput
from .solving import covariances_of

ESTIMABLE = 1e-6  # of the largest weight, left over when a sum is written in kept levels


def errors_of_levels(
    records: Records, pedigree: Pedigree, variances: Variances, weights: Mapping[str, Numbers]
) -> tuple[Numbers, Mask]:
    """Error covariances (k, k) of k sums of fixed levels, in squared steps, and which of the sums can be told, (k,).

    weights : effect -> (k, levels) weight of each code in each sum; a last column beyond the codes belongs to code -1,
    as in the tables of `solve`. Effects that are not named weigh nothing.
    """
    design = Design([records], pedigree)
    columns = columns_of(design, weights)
    k = columns.shape[1]
    equations = Equations(design, covariances_of(variances))
    solver = equations.solve_dense if equations.dense else equations.solve_gradients
    empty = np.zeros((equations.q, k, 1)), np.zeros((design.animals, k, 1))
    fixed = solver(columns[:, :, None].copy(), *empty, None, 1e-9)[0][:, :, 0]
    errors = columns[design.kept[:, 0]].T @ fixed[design.kept[:, 0]]
    return (errors + errors.T) / 2, told_apart(design, columns)


def columns_of(design: Design, weights: Mapping[str, Numbers]) -> Numbers:
    """The weights of k sums on every column of the design, (columns, k)."""
    by_name = {factor.name: factor for factor in design.factors}
    if missing := sorted(set(weights) - set(by_name)):
        raise WrongInput(f"There is no fixed effect called {missing[0]}.")
    sums = {len(given) for given in weights.values()}
    if len(sums) != 1:
        raise WrongInput("Give every effect the weights of the same sums, one row each.")
    (k,) = sums
    columns = np.zeros((design.columns, k))
    for name, given in weights.items():
        factor = by_name[name]
        if given.shape[1] < len(factor.table(np.zeros(design.columns))):
            raise WrongInput(f"{name} has more levels than there are weights.")
        columns[factor.first : factor.first + len(factor.level)] = given.T[factor.level]
    return columns


def told_apart(design: Design, columns: Numbers) -> Mask:
    """Which sums (columns, k) of levels have one value whatever level is set to zero, (k,)."""
    kept = design.kept[:, 0]
    if kept.all():
        return np.ones(columns.shape[1], dtype=bool)
    dropped = design.level_counts(0)[:, ~kept].toarray()
    written = design.solved_levels(0, dropped)  # dropped levels in kept ones
    left = np.abs(columns[~kept] - written.T @ columns).max(axis=0, initial=0.0)
    largest = np.abs(columns).max(axis=0, initial=0.0)
    return np.asarray(left <= ESTIMABLE * np.maximum(largest, 1e-12))
