"""Variances and likelihoods against statsmodels' MixedLM, on data where both models are the same."""

import warnings

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

from grading.evaluation import Pedigree, Records, estimate_variances


def dummies(*effects):
    """Full rank columns: all levels of the first effect, all but the lowest of the others."""
    parts = [(codes[:, None] == np.unique(codes)[int(k > 0) :]).astype(float) for k, codes in enumerate(effects)]
    return np.concatenate(parts, axis=1)


def unbalanced(seed, animals=40, looks=150):
    rng = np.random.default_rng(seed)
    animal = np.sort(np.append(np.arange(animals), rng.integers(0, animals, looks - animals)))
    grader, coat = rng.integers(0, 4, looks), rng.integers(0, 3, looks)
    value = 5 + 0.5 * grader - 0.3 * coat + rng.standard_normal(animals)[animal] + rng.standard_normal(looks)
    return rng, animal, grader, coat, value


def quietly(model, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return model.fit(reml=True, **options)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_repeated_looks_at_unrelated_animals_are_a_random_intercept(seed):
    _, animal, grader, coat, value = unbalanced(seed)
    other = quietly(MixedLM(value, dummies(grader, coat), animal), method="bfgs", gtol=1e-9)
    founders = np.full(animal.max() + 1, -1)
    found = estimate_variances(
        Records(animal, value, {"grader": grader, "coat": coat}), Pedigree(founders, founders), permanent=False
    )
    assert found.variances.animal == pytest.approx(float(np.ravel(other.cov_re)[0]), rel=1e-4)
    assert found.variances.residual == pytest.approx(other.scale, rel=1e-4)
    assert found.log_likelihood == pytest.approx(other.llf, abs=1e-5)


def test_a_sire_model_is_four_sires_variances():
    # kits seen once, dams unknown: sire variance is a quarter of the animal variance, the rest goes to the residual
    rng = np.random.default_rng(4)
    sires, kits = 20, 200
    sire = np.sort(rng.integers(0, sires, kits))
    grader = rng.integers(0, 3, kits)
    value = 5 + 0.4 * grader + 0.35 * rng.standard_normal(sires)[sire] + rng.standard_normal(kits)
    other = quietly(MixedLM(value, dummies(grader), sire), method="bfgs", gtol=1e-9)
    pedigree = Pedigree(np.append(np.full(sires, -1), sire), np.full(sires + kits, -1))
    found = estimate_variances(Records(sires + np.arange(kits), value, {"grader": grader}), pedigree)
    between = float(np.ravel(other.cov_re)[0])
    assert found.variances.animal / 4 == pytest.approx(between, rel=1e-4)
    assert found.variances.residual + 0.75 * found.variances.animal == pytest.approx(other.scale, rel=1e-4)
    assert found.log_likelihood == pytest.approx(other.llf, abs=1e-5)


def test_animals_within_litters_are_two_nested_intercepts():
    rng, animal, grader, _, value = unbalanced(5, animals=60, looks=200)
    litter = (np.arange(60) // 4)[animal]
    value = value + rng.standard_normal(15)[litter]
    within = (animal[:, None] == np.arange(60)).astype(float)
    of_litter = [within[litter == g][:, 4 * g : 4 * g + 4] for g in range(15)]
    names = [[str(k) for k in range(4)] for _ in range(15)]
    inside = VCSpec(["animal"], [names], [of_litter])
    model = MixedLM(value, dummies(grader), litter, exog_re=np.ones((200, 1)), exog_vc=inside)
    other = quietly(model, method="bfgs", gtol=1e-9)
    founders = np.full(60, -1)
    found = estimate_variances(
        Records(animal, value, {"grader": grader}, litter), Pedigree(founders, founders), litter=True
    )
    assert found.variances.litter == pytest.approx(float(np.ravel(other.cov_re)[0]), rel=1e-3)
    assert found.variances.animal == pytest.approx(float(other.vcomp[0]), rel=1e-3)
    assert found.variances.residual == pytest.approx(other.scale, rel=1e-3)
    assert found.log_likelihood == pytest.approx(other.llf, abs=1e-4)
