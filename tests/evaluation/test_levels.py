"""Errors of sums of fixed levels, against the generalised least squares of all looks written out."""

import numpy as np
import pytest

from grading.evaluation import Pedigree, Records, Variances, WrongInput, errors_of_levels, solve

from ..kinship.gallery import random_pedigree
from .oracles import WrittenOut

SIZES = {"animal": 0.5, "permanent": 0.2, "litter": 0.1, "residual": 0.8}


def looks(seed, *, confounded=False):
    rng = np.random.default_rng(seed)
    pedigree = Pedigree(*random_pedigree(rng, 25, unknown=0.3))
    animal = rng.integers(0, 25, 70)
    grader, half = rng.integers(-1, 4, 70), rng.integers(0, 3, 70)
    if confounded:
        half = grader + 1
    value = rng.integers(1, 10, 70).astype(float)
    value[rng.random(70) < 0.1] = np.nan
    litter = rng.integers(-1, 6, 25)[animal]
    return pedigree, Records(animal, value, {"grader": grader, "half": half}, litter)


def weights_of(records, rng, k=3):
    """Random sums of levels whose weights sum to zero within each effect, by code, -1 last."""
    found = {}
    for name, codes in records.fixed.items():
        seen = np.unique(codes[~np.isnan(records.value)])
        given = np.zeros((k, seen.max() + 1 + (seen[0] < 0)))
        given[:, seen] = rng.standard_normal((k, len(seen)))
        given[:, seen] -= given[:, seen].mean(axis=1, keepdims=True)
        found[name] = given
    return found


@pytest.mark.parametrize("seed", range(6))
def test_errors_of_sums_of_levels_are_those_of_generalised_least_squares(seed):
    pedigree, records = looks(seed)
    variances = Variances(**SIZES)
    weights = weights_of(records, np.random.default_rng(seed))
    errors, told = errors_of_levels(records, pedigree, variances, weights)
    assert told.all()
    slow = WrittenOut([records], pedigree, SIZES)
    columns = np.concatenate([weights[name][:, np.unique(codes)] for name, codes in records.fixed.items()], axis=1)
    assert errors == pytest.approx(columns @ slow.inner @ columns.T, abs=1e-8)
    found = solve(records, pedigree, variances).fixed
    mean = sum(given @ found[name] for name, given in weights.items())
    best = slow.inner @ slow.x.T @ slow.precise @ slow.y
    assert mean == pytest.approx(columns @ best, abs=1e-7)


def test_a_sum_that_two_effects_share_cannot_be_told_alone_but_only_together():
    pedigree, records = looks(3, confounded=True)
    weights = weights_of(records, np.random.default_rng(1))
    alone = {"grader": weights["grader"]}
    assert not errors_of_levels(records, pedigree, Variances(**SIZES), alone)[1].any()
    width = weights["half"].shape[1]
    both = {"grader": weights["grader"], "half": np.roll(weights["grader"], 1, axis=1)[:, :width]}  # code -1 is half 0
    assert errors_of_levels(records, pedigree, Variances(**SIZES), both)[1].all()


def test_weights_that_fit_no_effect_are_refused_in_a_sentence():
    pedigree, records = looks(1)
    with pytest.raises(WrongInput, match="no fixed effect called age"):
        errors_of_levels(records, pedigree, Variances(**SIZES), {"age": np.zeros((1, 3))})
    with pytest.raises(WrongInput, match="more levels"):
        errors_of_levels(records, pedigree, Variances(**SIZES), {"grader": np.zeros((1, 1))})
    with pytest.raises(WrongInput, match="one row each"):
        errors_of_levels(records, pedigree, Variances(**SIZES), {"grader": np.zeros((1, 5)), "half": np.zeros((2, 3))})
