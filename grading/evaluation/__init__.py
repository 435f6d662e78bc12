"""Merits, variances and trends from looks and a pedigree; arrays in, small dataclasses out; knows no Django."""

from .data import Pedigree, Records, Variances
from .errors import EvaluationError, NothingToEstimate, WrongInput
from .pairs import CovarianceEstimate, Covariances, PairSolution, estimate_covariances, solve_pair
from .ratios import Ratio
from .solving import Solution, solve
from .variances import VarianceEstimate, estimate_variances

__all__ = [
    "CovarianceEstimate",
    "Covariances",
    "EvaluationError",
    "NothingToEstimate",
    "PairSolution",
    "Pedigree",
    "Ratio",
    "Records",
    "Solution",
    "VarianceEstimate",
    "Variances",
    "WrongInput",
    "estimate_covariances",
    "estimate_variances",
    "solve",
    "solve_pair",
]
