"""Merits, variances and trends from looks and a pedigree; arrays in, small dataclasses out; knows no Django.

`data` says the model in words and formulas, `equations` how it is solved, `reml` how variances are found, `reliability`
how well merits are known, `pairs` how two traits go together. Nothing here reads a clock or an unseeded random number:
the same looks give the same digits.
"""

from .averaging import Averaged, Sums, averaged
from .connections import Components, Connectedness, components, connectedness
from .data import Pedigree, Records, Variances
from .errors import AboutLevels, EvaluationError, NothingToEstimate, WrongInput
from .levels import errors_of_levels
from .pairs import CovarianceErrors, CovarianceEstimate, Covariances, PairSolution, estimate_covariances, solve_pair
from .ratios import Ratio
from .reliability import (
    ReliabilityError,
    errors_of_means,
    prediction_errors,
    prediction_errors_pair,
    reliability,
    reliability_error,
)
from .scales import even_spread
from .solving import Solution, solve
from .trends import Trend, trend
from .variances import StandardErrors, VarianceEstimate, estimate_variances

__all__ = [
    "AboutLevels",
    "Averaged",
    "Components",
    "Connectedness",
    "CovarianceErrors",
    "CovarianceEstimate",
    "Covariances",
    "EvaluationError",
    "NothingToEstimate",
    "PairSolution",
    "Pedigree",
    "Ratio",
    "Records",
    "ReliabilityError",
    "Solution",
    "StandardErrors",
    "Sums",
    "Trend",
    "VarianceEstimate",
    "Variances",
    "WrongInput",
    "averaged",
    "components",
    "connectedness",
    "errors_of_levels",
    "errors_of_means",
    "estimate_covariances",
    "estimate_variances",
    "even_spread",
    "prediction_errors",
    "prediction_errors_pair",
    "reliability",
    "reliability_error",
    "solve",
    "solve_pair",
    "trend",
]
