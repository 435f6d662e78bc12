"""Merits, errors, likelihoods and gradients against the covariance matrix of all looks written out, on odd data."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from grading.evaluation import (
    Covariances,
    EvaluationError,
    Records,
    Variances,
    equations,
    errors_of_means,
    estimate_variances,
    prediction_errors,
    prediction_errors_pair,
    solve,
    solve_pair,
)
from grading.evaluation.design import Design, independent_columns
from grading.evaluation.fisher import expected_information
from grading.evaluation.gradients import conjugate
from grading.evaluation.moments import Draws, expected, found
from grading.evaluation.reml import log_likelihood, slopes

from ..kinship.gallery import random_pedigree
from .oracles import WrittenOut
from .published import Pedigree

NAMES = ["animal", "litter", "permanent", "residual"]
ONE = {"animal": 0.5, "permanent": 0.2, "litter": 0.15, "residual": 0.9}
TWO = {
    "animal": np.array([[0.5, -0.2], [-0.2, 0.4]]),
    "permanent": np.array([[0.2, 0.05], [0.05, 0.1]]),
    "litter": np.array([[0.15, 0.02], [0.02, 0.1]]),
    "residual": np.array([[0.9, 0.3], [0.3, 0.7]]),
}


def odd_looks(seed, traits=1, n=25, looks=40):
    """Rows in any order, animals unseen or seen often, unknown levels, a confounded effect, looks without a step."""
    rng = np.random.default_rng(seed)
    pedigree = Pedigree(*random_pedigree(rng, n))
    animal = rng.integers(0, n, looks)
    grader = rng.integers(-1, 3, looks)
    fixed = {"grader": grader, "age": rng.integers(0, 3, looks), "desk": np.maximum(grader, 0)}
    litter = rng.integers(-1, 8, n)[animal]
    values = rng.integers(1, 10, (traits, looks)).astype(float)
    for trait in range(traits):
        values[trait, rng.random(looks) < 0.15] = np.nan
    return [Records(animal, value, fixed, litter) for value in values], pedigree


@pytest.fixture(params=["dense", "gradients", "gradients, the first effect among them"])
def either_way(request, monkeypatch):
    if request.param != "dense":
        monkeypatch.setattr(equations, "MOST_DENSE", 0)
    if "among them" in request.param:
        monkeypatch.setattr("grading.evaluation.design.MOST_ABSORBED", 8)


@pytest.mark.usefixtures("either_way")
@pytest.mark.parametrize("without", ["nothing", "permanent", "litter", "both"])
def test_merits_and_their_errors_are_those_of_the_written_out_model(without):
    [records], pedigree = odd_looks(3)
    sizes = ONE | {name: 0.0 for name in ("permanent", "litter") if without in (name, "both")}
    oracle = WrittenOut([records], pedigree, sizes)
    found_here = solve(records, pedigree, Variances(**sizes))
    assert_allclose(found_here.merit, oracle.merits()[:, 0], atol=1e-8)
    assert found_here.converged
    errors = prediction_errors(records, pedigree, Variances(**sizes), np.arange(len(pedigree)))
    assert_allclose(errors, oracle.errors(), atol=1e-7)


@pytest.mark.usefixtures("either_way")
def test_two_traits_with_steps_missing_are_those_of_the_written_out_model():
    pair, pedigree = odd_looks(4, traits=2)
    pair[1] = Records(pair[1].animal, pair[1].value, {"age": pair[1].fixed["age"] // 2}, pair[1].litter)
    oracle = WrittenOut(pair, pedigree, TWO)
    found_here = solve_pair(*pair, pedigree, Covariances(**TWO))
    assert_allclose(found_here.merit, oracle.merits(), atol=1e-8)
    assert set(found_here.fixed[0]) == {"grader", "age", "desk"}
    assert set(found_here.fixed[1]) == {"age"}
    errors = prediction_errors_pair(*pair, pedigree, Covariances(**TWO), [2, 0, 7])
    n = len(pedigree)
    rows = np.ix_([2, 0, 7], [0, 1], [2, 0, 7], [0, 1])
    assert_allclose(errors, oracle.errors().reshape(n, 2, n, 2)[rows], atol=1e-7)


@pytest.mark.parametrize("traits", [1, 2])
def test_likelihood_gradient_and_information_are_those_of_the_written_out_model(traits):
    looks, pedigree = odd_looks(5, traits)
    sizes = {name: np.atleast_2d(size) for name, size in (ONE if traits == 1 else TWO).items()}
    design = Design(looks, pedigree)
    kept = design.kept.T.ravel() if traits == 2 else design.kept[:, 0]  # the oracle counts trait after trait

    def likelihood(covariances):
        there = equations.Equations(design, covariances, dense=True)
        return log_likelihood(there, there.solve([there.sums(design.value)]))

    assert likelihood(sizes) == pytest.approx(WrittenOut(looks, pedigree, sizes).log_likelihood(kept), abs=1e-8)
    there = equations.Equations(design, sizes, dense=True)
    seen = found(there, [design.value], there.solve([there.sums(design.value)]), NAMES)[0]
    wanted = expected(there, NAMES)
    gradient = slopes({name: seen[name] - wanted[name] for name in NAMES}, traits, NAMES)
    h, numeric = 1e-5, []
    for name in NAMES:
        for k in range(traits):
            for m in range(k, traits):
                change = np.zeros((traits, traits))
                change[k, m] = change[m, k] = h
                up, down = (likelihood(sizes | {name: sizes[name] + side * change}) for side in (1, -1))
                numeric.append((up - down) / (2 * h))
    assert_allclose(gradient, numeric, atol=1e-5)
    information = expected_information(design, sizes, NAMES)
    # tr(P V) = looks - rank, whatever the variances
    oracle = WrittenOut(looks, pedigree, sizes)
    assert np.trace(oracle.p @ oracle.v) == pytest.approx(np.sum(~design.missing) - design.rank)
    weights = np.concatenate([sizes[name][np.triu_indices(traits)] for name in NAMES])
    assert weights @ information @ weights == pytest.approx((np.sum(~design.missing) - design.rank) / 2)


@pytest.mark.parametrize("traits", [1, 2])
def test_drawn_expectations_come_near_the_exact_ones(traits):
    looks, pedigree = odd_looks(6, traits)
    sizes = {name: np.atleast_2d(size) for name, size in (ONE if traits == 1 else TWO).items()}
    design = Design(looks, pedigree)
    there = equations.Equations(design, sizes, dense=True)
    draws = Draws(design, 1500)
    answer = there.solve([there.sums(value) for value in draws.all_looks(sizes)])
    drawn = found(there, draws.all_looks(sizes), answer, NAMES)
    for name, exact in expected(there, NAMES).items():
        each = np.array([moments[name] for moments in drawn])
        error = each.std(axis=0) / np.sqrt(len(each))
        assert (np.abs(each.mean(axis=0) - exact) < 4 * error).all(), name


def test_errors_of_yearly_means_are_sums_of_the_errors_of_merits():
    [records], pedigree = odd_looks(7)
    year = np.random.default_rng(7).integers(-1, 3, len(pedigree))
    oracle = WrittenOut([records], pedigree, ONE)
    weights = np.stack([(year == y) / (year == y).sum() for y in range(3)])
    codes, errors, before = errors_of_means(records, pedigree, Variances(**ONE), year)
    assert codes.tolist() == [0, 1, 2]
    assert_allclose(errors, weights @ oracle.errors() @ weights.T, atol=1e-9)
    assert_allclose(before, weights @ oracle.prior @ weights.T, atol=1e-9)


def test_order_of_animals_and_looks_does_not_matter():
    [records], pedigree = odd_looks(8)
    rng = np.random.default_rng(8)
    order, looks = rng.permutation(len(pedigree)), rng.permutation(len(records))
    now = np.append(np.argsort(order), -1)
    moved = Pedigree(now[pedigree.sire[order]], now[pedigree.dam[order]])
    again = Records(
        now[records.animal[looks]],
        records.value[looks],
        {name: codes[looks] for name, codes in records.fixed.items()},
        records.litter[looks],
    )
    one, other = solve(records, pedigree, Variances(**ONE)), solve(again, moved, Variances(**ONE))
    assert_allclose(other.merit, one.merit[order], atol=1e-10)


def test_columns_that_are_sums_of_others_are_left_out_also_across_blocks():
    rng = np.random.default_rng(9)
    plain = rng.integers(0, 2, (400, 150)).astype(float)
    mixed = np.concatenate(
        [plain[:, :70], plain[:, :1] + plain[:, 69:70], plain[:, 70:], plain @ np.ones((150, 1))], axis=1
    )
    kept = independent_columns(mixed.T @ mixed, np.arange(152))
    assert np.setdiff1d(np.arange(152), kept).tolist() == [70, 151]


def test_conjugate_gradients_say_when_they_have_not_converged():
    matrix = np.diag(np.arange(1.0, 51.0))
    rhs = np.ones((50, 2, 1))
    times = lambda x: (matrix @ x[:, :, 0])[:, :, None]  # noqa: E731
    stopped = conjugate(times, lambda x: x, rhs, None, 1e-12, 3)
    assert (stopped.rounds, stopped.converged) == (3, False)
    ended = conjugate(times, lambda x: x, rhs, None, 1e-12, 200)
    assert ended.converged
    assert_allclose(ended.x[:, 0, 0], 1 / np.arange(1.0, 51.0), atol=1e-11)
    nothing = conjugate(times, lambda x: x, 0 * rhs, None, 1e-12, 200)
    assert (nothing.rounds, nothing.converged) == (0, True)


def test_variances_are_the_same_whether_the_first_effect_is_taken_out_or_goes_through_the_rounds(monkeypatch):
    rng = np.random.default_rng(12)
    pedigree = Pedigree(*random_pedigree(rng, 300))
    animal = np.repeat(np.arange(300), 2)
    fixed = {"grader": rng.integers(0, 40, 600), "age": rng.integers(0, 3, 600)}
    value = rng.normal(0, 0.7, 300)[animal] + rng.normal(0, 0.8, 600) + fixed["grader"] * 0.05 + fixed["age"]
    records = Records(animal, value, fixed)
    monkeypatch.setattr(equations, "MOST_DENSE", 0)
    monkeypatch.setattr("grading.evaluation.reml.MOST_DENSE", 0)
    taken_out = estimate_variances(records, pedigree)
    monkeypatch.setattr("grading.evaluation.design.MOST_ABSORBED", 10)
    by_rounds = estimate_variances(records, pedigree)
    assert Design([records], pedigree).iterated == 40
    for name in ("animal", "permanent", "residual"):
        one, other = getattr(taken_out.variances, name), getattr(by_rounds.variances, name)
        assert other == pytest.approx(one, abs=1e-4)
    assert by_rounds.converged


def test_too_many_levels_after_the_first_effect_are_refused_in_a_sentence(monkeypatch):
    [records], pedigree = odd_looks(3)
    monkeypatch.setattr("grading.evaluation.design.MOST_ABSORBED", 3)
    with pytest.raises(EvaluationError, match="Give the largest effect first, or join levels"):
        Design([records], pedigree)
