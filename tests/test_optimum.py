"""The best set of matings, against trying every set and against SciPy's assignment."""

import itertools

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from pedigrees.planning.optimum import best_matings, lowest_mean


def every_set(value, coancestry, capacity, limit, allowed):
    """(most does mated, best value) over every possible set: the slow and obvious way."""
    does, bucks = value.shape
    best = (0, 0.0)
    for choice in itertools.product(range(-1, bucks), repeat=does):
        pairs = [(doe, buck) for doe, buck in enumerate(choice) if buck >= 0]
        if any(not allowed[pair] for pair in pairs) or any(choice.count(b) > capacity[b] for b in range(bucks)):
            continue
        if pairs and sum(coancestry[pair] - limit for pair in pairs) > 1e-9:
            continue
        best = max(best, (len(pairs), round(sum(value[pair] for pair in pairs), 9)))
    return best


@pytest.mark.parametrize("seed", range(25))
def test_it_is_the_best_of_all_sets_there_are(seed):
    rng = np.random.default_rng(seed)
    does, bucks = rng.integers(1, 6), rng.integers(1, 4)
    value, coancestry = rng.uniform(0, 1, (does, bucks)), rng.uniform(0, 0.3, (does, bucks))
    capacity, allowed = rng.integers(0, 4, bucks), rng.random((does, bucks)) < 0.8
    limit = rng.uniform(0.02, 0.25)
    found = best_matings(value, coancestry, capacity, limit=limit, allowed=allowed)
    assert (found.mated, round(found.value, 6)) == pytest.approx(
        every_set(value, coancestry, capacity, limit, allowed), abs=1e-5
    )
    assert found.complete
    assert found.mated == 0 or found.mean_coancestry <= limit + 1e-8


@pytest.mark.parametrize("seed", range(5))
def test_without_a_limit_and_with_one_doe_a_buck_it_is_the_assignment_of_scipy(seed):
    value = np.random.default_rng(seed).uniform(0, 1, (7, 9))
    rows, columns = linear_sum_assignment(value, maximize=True)
    found = best_matings(value, np.zeros((7, 9)), np.ones(9), limit=1.0)
    assert found.value == pytest.approx(value[rows, columns].sum())


def test_a_limit_under_every_pair_mates_nobody():
    found = best_matings(np.ones((2, 2)), np.full((2, 2), 0.25), [2, 2], limit=0.1)
    assert found.mated == 0
    assert np.isnan(found.mean_coancestry)


def test_the_lowest_mean_is_what_a_limit_may_ask_for():
    coancestry = np.array([[0.25, 0.05], [0.10, 0.0]])
    assert lowest_mean(coancestry, [1, 1]) == pytest.approx(0.075)
    assert lowest_mean(coancestry, [2, 2]) == pytest.approx(0.025)


def test_does_without_bucks_and_pairs_of_unknown_worth_are_answered():
    assert best_matings(np.zeros((3, 0)), np.zeros((3, 0)), [], limit=0.1).mated == 0
    found = best_matings([[np.nan, 0.5]], [[0.0, 0.0]], [1, 1], limit=0.1)
    assert found.buck.tolist() == [1]
    assert best_matings([[np.nan, np.nan]], [[0.0, 0.0]], [1, 1], limit=0.1).mated == 1


@pytest.mark.parametrize(
    ("value", "coancestry", "capacity", "words"),
    [
        ([[1.0]], [[0.1, 0.2]], [1, 1], "do not fit"),
        ([[1.0]], [[0.1]], [-1], "fewer than no does"),
        ([[1.0]], [[np.nan]], [1], "from 0 to 1"),
        ([[1.0]], [[1.5]], [1], "from 0 to 1"),
    ],
)
def test_what_cannot_be_is_refused(value, coancestry, capacity, words):
    with pytest.raises(ValueError, match=words):
        best_matings(value, coancestry, capacity, limit=0.1)


def test_forty_does_and_twenty_bucks_are_solved_to_the_end():
    rng = np.random.default_rng(3)
    found = best_matings(
        rng.uniform(0, 1, (40, 20)), rng.choice([0.0, 0.03, 0.0625, 0.125, 0.25], (40, 20)), np.full(20, 4), limit=0.03
    )
    assert found.complete
    assert found.mated == 40
