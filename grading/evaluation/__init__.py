"""Merits, variances and trends from looks and a pedigree; arrays in, small dataclasses out; knows no Django."""

from .data import Pedigree, Records, Variances
from .errors import EvaluationError, NothingToEstimate, WrongInput
from .solving import Solution, solve

__all__ = [
    "EvaluationError",
    "NothingToEstimate",
    "Pedigree",
    "Records",
    "Solution",
    "Variances",
    "WrongInput",
    "solve",
]
