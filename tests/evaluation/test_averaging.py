"""Averages over the variances that the looks leave open, against integrals written out on a fine grid."""

import numpy as np
import pytest
from scipy import linalg, stats

from grading.evaluation import (
    Records,
    Sums,
    averaged,
    averaging,
    errors_of_levels,
    errors_of_means,
    estimate_variances,
    solve,
    trend,
)

from .made import breed, looked_at, merits
from .oracles import tabular


def club(seed, **given):
    rng = np.random.default_rng([77, seed])
    made = breed(rng, years=4, herds=2, does=5, bucks=2)
    return made, looked_at(rng, made, merits(rng, made.pedigree, 0.5), **given)


def on_a_grid(made, records, weights, places=24):
    """Slopes, errors and weights at every division of a fine grid, from the covariance of all looks: (m,) each."""
    a = tabular(made.pedigree.sire, made.pedigree.dam)
    z = np.eye(len(a))[records.animal]
    x = np.concatenate([np.eye(codes.max() + 1)[codes] for codes in records.fixed.values()], axis=1)[:, :-1]
    y, kin, own, plain = records.value, z @ a @ z.T, z @ z.T, np.eye(len(z))
    reach = weights @ a @ z.T  # what the line shares with each look, beside the animal variance
    sides = np.column_stack([x, y, reach])
    freedom = len(y) - x.shape[1]
    found = []
    for kept in (np.arange(places) + 0.5) / places * 0.9:
        for animal in (np.arange(places) + 0.5) / places * kept:
            root = np.linalg.cholesky(animal * kin + (kept - animal) * own + (1 - kept) * plain)
            halves = linalg.solve_triangular(root, sides, lower=True)  # L^-1 [X, y, c]
            bare, inner = halves[:, :-2], halves[:, :-2].T @ halves[:, :-2]
            rest = halves[:, -2:] - bare @ np.linalg.solve(inner, bare.T @ halves[:, -2:])
            (seen, shared), (_, told) = rest.T @ rest  # y'Py, y'Pc, c'Pc
            total = seen / freedom
            log = -(2 * np.log(np.diag(root)).sum() + np.linalg.slogdet(inner)[1] + freedom * np.log(total)) / 2
            error = total * (animal * weights @ a @ weights - animal**2 * told)
            found.append((log, kept, animal * shared, np.sqrt(error), animal))
    log, size, slope, error, animal = np.array(found).T
    weight = np.exp(log - log.max()) * size
    return slope, error, weight / weight.sum(), animal


def slope_of(born):
    away = born - born.mean()
    return away / (away @ away)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_line_and_interval_are_those_of_the_whole_likelihood(seed):
    made, records = club(seed)
    weights = slope_of(made.born)
    slope, error, weight, share = on_a_grid(made, records, weights)
    mean = weight @ slope
    whole = np.sqrt(weight @ (error**2 + (slope - mean) ** 2))
    found = averaged(records, made.pedigree, estimate_variances(records, made.pedigree), made.born)
    by_year = np.array([weights[made.born == year].sum() for year in found.groups])
    assert by_year @ found.of_groups.mean == pytest.approx(mean, abs=0.06 * whole)
    assert weights @ found.merit == pytest.approx(mean, abs=0.06 * whole)
    assert np.sqrt(by_year @ found.of_groups.covariance @ by_year) == pytest.approx(whole, rel=0.06)
    draws = stats.norm.cdf((np.array(found.of_groups.interval(by_year))[:, None] - slope) / error) @ weight
    assert draws == pytest.approx([0.025, 0.975], abs=0.006)
    heritability = np.array([each.animal / each.total for each in found.variances])
    spread = np.sqrt(weight @ (share - weight @ share) ** 2)
    assert found.weight @ heritability == pytest.approx(weight @ share, abs=0.12 * spread)
    plug_in = solve(records, made.pedigree, estimate_variances(records, made.pedigree).variances)
    assert trend(found.merit, made.born, found.of_groups.covariance).slope == pytest.approx(mean, abs=0.06 * whole)
    assert abs(weights @ plug_in.merit - mean) < 3 * whole


@pytest.mark.slow
def test_large_data_take_the_errors_of_the_estimate_and_add_what_heritability_leaves_open(monkeypatch):
    made, records = club(4, looks=3)
    estimate = estimate_variances(records, made.pedigree)
    small = averaged(records, made.pedigree, estimate, made.born)
    monkeypatch.setattr(averaging, "MOST_DENSE", 0)
    large = averaged(records, made.pedigree, estimate, made.born)
    assert len(large.weight) == 3
    assert large.variances[1].animal == estimate.variances.animal
    _, alone, _ = errors_of_means(records, made.pedigree, estimate.variances, made.born)
    added = large.of_groups.covariance - alone
    assert np.linalg.eigvalsh(added).min() > -1e-12
    assert np.trace(added) > 0
    one, other = (np.sqrt(np.diag(each.of_groups.covariance)) for each in (small, large))
    assert other == pytest.approx(one, rel=0.25)


@pytest.mark.slow
def test_sums_of_levels_are_those_of_the_same_variances():
    made, records = club(5, litter=0.2)
    estimate = estimate_variances(records, made.pedigree, litter=True)
    weights = {"grader": np.array([[1.0, -1.0, 0.0, 0.0], [1.0, 0.0, 0.0, 0.0]])}
    found = averaged(records, made.pedigree, estimate, made.born, [weights])
    (sums,) = found.of_levels
    assert sums.clear.tolist() == [True, False] or sums.clear.tolist() == [True, True]
    at = int(found.weight.argmax())
    error, clear = errors_of_levels(records, made.pedigree, found.variances[at], weights)
    assert sums.error[at] == pytest.approx(error, rel=1e-6)
    assert sums.clear.tolist() == clear.tolist()
    solution = solve(records, made.pedigree, found.variances[at])
    assert sums.value[at] == pytest.approx(weights["grader"] @ solution.fixed["grader"][:4], abs=1e-8)
    assert found.weight.sum() == pytest.approx(1)
    assert sums.covariance[0, 0] > found.weight @ sums.error[:, 0, 0]


def test_the_interval_of_a_mixture_holds_ninety_five_of_a_hundred():
    sums = Sums(np.array([0.7, 0.3]), np.array([[0.0], [4.0]]), np.array([[[1.0]], [[4.0]]]), np.ones(1, bool), True)
    low, high = sums.interval([1.0])
    held = 0.7 * np.diff(stats.norm.cdf([low, high])) + 0.3 * np.diff(stats.norm.cdf([low, high], 4, 2))
    assert held == pytest.approx(0.95, abs=1e-9)
    assert high - 1.2 > 1.2 - low  # skew, as the mixture is
    assert sums.covariance[0, 0] == pytest.approx(0.7 * 1 + 0.3 * 4 + 0.21 * 16)


def test_without_parents_or_variance_there_is_still_an_answer():
    rng = np.random.default_rng(3)
    made = breed(rng, years=2, herds=1)
    animal = np.repeat(np.arange(len(made.pedigree)), 2)
    records = Records(animal, 5 + rng.standard_normal(len(animal)), {"mean": np.zeros(len(animal), int)})
    estimate = estimate_variances(records, made.pedigree)
    found = averaged(records, made.pedigree, estimate, np.full(len(made.pedigree), -1))
    assert found.of_groups.mean.shape == (0,)
    assert np.isfinite(found.merit).all()
