"""The chance of both goals, against Sheppard's formula and SciPy's multivariate normal."""

import numpy as np
import pytest
from scipy import stats

from grading.two_normals import below_both, inside


@pytest.mark.parametrize("correlation", [-1.0, -0.9, -0.5, 0.0, 0.3, 0.8, 1.0])
def test_a_quadrant_has_the_chance_of_sheppards_formula(correlation):
    """W. F. Sheppard 1899: P(X < 0, Y < 0) = 1/4 + asin(r) / (2 pi) (from memory)."""
    assert below_both(0.0, 0.0, correlation) == pytest.approx(0.25 + np.arcsin(correlation) / (2 * np.pi), abs=1e-5)


def test_it_agrees_with_the_multivariate_normal_of_scipy():
    rng = np.random.default_rng(5)
    for _ in range(60):
        r = rng.uniform(-0.98, 0.98)
        mean, spread = rng.uniform(1, 9, 2), rng.uniform(0.3, 2, 2)
        low = rng.uniform(0, 6, 2)
        high = low + rng.uniform(0.5, 4, 2)
        cov = [[spread[0] ** 2, r * spread.prod()], [r * spread.prod(), spread[1] ** 2]]
        expected = stats.multivariate_normal(mean, cov).cdf(high, lower_limit=low)
        assert inside(low, high, mean, spread, r) == pytest.approx(expected, abs=2e-4)


def test_uncorrelated_chances_multiply():
    one = stats.norm.cdf(1) - stats.norm.cdf(-1)
    assert inside((-1, -1), (1, 1), (0, 0), (1, 1), 0.0) == pytest.approx(one**2)


def test_what_is_not_known_stays_not_known():
    found = inside((5, 5), (7, 7), (np.array([6.0, np.nan, 6.0]), 6.0), (np.array([1.0, 1.0, 0.0]), 1.0), 0.2)
    assert np.isnan(found).tolist() == [False, True, True]


def test_far_away_is_nought_and_wide_is_one():
    assert inside((5, 5), (7, 7), (60, 60), (1, 1), 0.5) == 0
    assert inside((-900, -900), (900, 900), (0, 0), (1, 1), -0.5) == pytest.approx(1)
