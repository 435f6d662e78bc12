"""Shares, slopes and correlations of the beliefs against published values and statsmodels, and their coverage."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.proportion import proportion_confint

from grading.beliefs import numbers


@pytest.mark.parametrize(("seen", "of", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605),
                                                         (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)])  # fmt: skip
def test_wilsons_interval_is_the_published_one(seen, of, low, high):
    # Newcombe 1998, Statistics in Medicine 17:857-872, table I, score method without continuity correction
    found = numbers.share(seen, of)
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)
    assert (found.low, found.high) == pytest.approx(proportion_confint(seen, of, method="wilson"), abs=1e-9)


def litters(rng, count=30, most=6):
    cluster = np.repeat(np.arange(count), rng.integers(1, most, count))
    return cluster, rng.normal(0, 1, count)[cluster]


def test_a_slope_with_litters_is_that_of_statsmodels_with_each_litter_left_out_in_turn():
    rng = np.random.default_rng(3)
    cluster, shared = litters(rng)
    x = rng.normal(0, 1, len(cluster)) + shared
    y = 0.4 * x + shared + rng.normal(0, 1, len(cluster))
    found = numbers.slope(x, y, cluster)
    reference = sm.OLS(y, sm.add_constant(x)).fit(cov_type="cluster", cov_kwds={"groups": cluster}, use_t=True)
    without = [sm.OLS(y[cluster != out], sm.add_constant(x[cluster != out])).fit().params[1] for out in range(30)]
    error = (29 / 30 * ((np.array(without) - reference.params[1]) ** 2).sum()) ** 0.5
    half = stats.t.ppf(0.975, 29) * error
    assert found.value == pytest.approx(reference.params[1])
    assert (found.low, found.high) == pytest.approx((found.value - half, found.value + half))
    assert (found.n, found.groups) == (len(x), 30)
    low, high = reference.conf_int()[1]  # the sandwich lies near, and a little inside
    assert found.low < low < high < found.high
    assert (high - low) / (found.high - found.low) > 0.8


def test_a_few_clusters_are_enough_for_an_interval_that_holds():
    """Nine animals, twelve looks, as of a grader who seldom meets the others: 95 % intervals hold 95 of 100 or more."""
    held = 0
    for seed in range(500):
        rng = np.random.default_rng([seed, 9])
        cluster = np.r_[np.arange(9), 0, 3, 6]
        x = rng.normal(0, 1, 9)[cluster] + rng.normal(0, 0.5, 12)
        y = 0.35 * x + rng.normal(0, 0.6, 9)[cluster] + rng.normal(0, 0.6, 12)
        found = numbers.slope(x, y, cluster)
        held += found.low <= 0.35 <= found.high
    assert stats.binomtest(held, 500, 0.95).proportion_ci(0.99).high > 0.95
    assert held < 500


def test_a_swayed_grader_does_not_make_the_others_seem_swayed_the_other_way():
    """Five graders, one swayed by 0.4: beside him as he is, the others' slopes turn negative; put right, hardly."""
    found, crude = [], []
    for seed in range(40):
        rng = np.random.default_rng([seed, 5])
        animal = np.repeat(np.arange(120), 2)
        grader = np.concatenate([rng.choice(5, 2, replace=False) for _ in range(120)])
        x = rng.normal(0, 1.2, 120)[animal]
        y = rng.normal(5, 1, 120)[animal] + 0.4 * x * (grader == 0) + rng.normal(0, 0.6, 240)
        slopes = numbers.swayed(animal, grader, x, y)
        found.append(slopes)
        off = y - y.reshape(-1, 2)[:, ::-1].ravel()
        crude.append([np.polyfit(x[grader == each], off[grader == each], 1)[0] for each in range(1, 5)])
    found = np.mean(found, axis=0)
    assert np.mean(crude) < -0.07
    assert found[0] - found[1:].mean() == pytest.approx(0.4, abs=0.12)  # drawn a little towards nought
    assert abs(found[1:].mean()) < 0.03


def test_the_slopes_of_graders_are_those_of_least_squares_when_not_drawn_in():
    rng = np.random.default_rng(2)
    animal, grader = np.repeat(np.arange(40), 3), np.tile(np.arange(3), 40)
    x, y = rng.normal(size=120), rng.normal(size=120)
    loose = numbers.swayed(animal, grader, x, y, likely=1e4)
    centered = x - np.array([x[grader == each].mean() for each in range(3)])[grader]
    y_centered = y - np.array([y[grader == each].mean() for each in range(3)])[grader]
    design = np.column_stack([np.where(grader == each, centered, 0) for each in range(3)] + [np.eye(40)[animal]])
    reference = sm.OLS(y_centered, design).fit().params[:3]
    assert loose == pytest.approx(reference - np.median(reference), abs=1e-5)


def test_a_difference_of_two_groups_is_the_difference_of_their_means_and_rows_that_were_not_told_are_left_out():
    rng = np.random.default_rng(4)
    cluster, shared = litters(rng)
    white = (rng.random(len(cluster)) < 0.3).astype(float)
    y = shared + rng.normal(0, 1, len(cluster))
    y[:3] = np.nan
    found = numbers.slope(white, y, cluster)
    told = ~np.isnan(y)
    assert found.value == pytest.approx(y[told & (white == 1)].mean() - y[told & (white == 0)].mean())
    assert found.n == len(y) - 3


def test_a_difference_covers_the_truth_as_often_as_it_says_and_naive_rows_do_not():
    """White goes by litter here, and litters differ: 95 % intervals by litter hold, those that count kits do not."""
    held = naive = 0
    for seed in range(400):
        rng = np.random.default_rng([seed, 7])
        cluster, shared = litters(rng, count=40)
        white = (rng.random(40) < 0.4).astype(float)[cluster]
        y = 0.3 * white + shared + rng.normal(0, 0.6, len(cluster))
        found = numbers.slope(white, y, cluster)
        held += found.low <= 0.3 <= found.high
        plain = numbers.slope(white, y, np.arange(len(y)))
        naive += plain.low <= 0.3 <= plain.high
    assert stats.binomtest(held, 400, 0.95).proportion_ci(0.999).high >= 0.94
    assert held >= 0.91 * 400
    assert naive < 0.85 * 400


def test_correlation_and_its_interval_are_those_of_scipy():
    rng = np.random.default_rng(5)
    x = rng.normal(size=60)
    y = -0.5 * x + rng.normal(size=60)
    found, reference = numbers.correlation(x, y), stats.pearsonr(x, y)
    interval = reference.confidence_interval(0.95)
    assert (found.value, found.low, found.high) == pytest.approx((reference.statistic, interval.low, interval.high))


def fading(rng, sires, animals=12, looks=4, apart=0.0, scatter=0.7):
    """(animal, x, y, sire of each animal, true slope of each sire): animals differ, and so do their sires' slopes."""
    truth = -0.45 + apart * rng.standard_normal(sires)
    sire = np.repeat(np.arange(sires), animals)
    animal = np.repeat(np.arange(sires * animals), looks)
    x = rng.uniform(1, 5, len(animal))
    y = rng.normal(6, 1, len(sire))[animal] + truth[sire[animal]] * x + rng.normal(0, scatter, len(animal))
    return animal, x, y, sire, truth


def test_the_slope_within_animals_is_that_of_statsmodels_with_a_mean_for_each():
    animal, x, y, sire, _ = fading(np.random.default_rng(6), sires=3)
    _, sxx, sxy = numbers.within(animal, x, y)
    found = numbers.slopes(sxx, sxy, sire, fewest=5).all
    dummies = np.eye(animal.max() + 1)[animal]
    reference = sm.OLS(y, np.column_stack([x, dummies])).fit(
        cov_type="cluster", cov_kwds={"groups": animal, "use_correction": False}, use_t=True
    )
    assert found.value == pytest.approx(reference.params[0])
    error = reference.bse[0] * (36 / 35) ** 0.5  # our correction for 36 animals
    half = stats.t.ppf(0.975, 35) * error
    assert (found.low, found.high) == pytest.approx((reference.params[0] - half, reference.params[0] + half))


def test_what_lies_between_sires_is_that_of_dersimonian_and_laird_in_statsmodels():
    rng = np.random.default_rng(8)
    value, variance = rng.normal(-0.45, 0.3, 9), rng.uniform(0.01, 0.1, 9)
    between, mean, error, _ = numbers.moments(value, variance)
    reference = combine_effects(value, variance, method_re="dl")
    assert between == pytest.approx(reference.tau2)
    assert mean == pytest.approx(reference.mean_effect_re)
    assert error**0.5 == pytest.approx(reference.sd_eff_w_re)


def test_sires_are_drawn_in_as_far_as_chance_could_set_them_apart():
    alike = [numbers.slopes(*_sums(np.random.default_rng([seed, 1]), 0.0), fewest=5) for seed in range(30)]
    assert np.mean([found.apart == 0 for found in alike]) > 0.4
    for found in alike:
        own, drawn = (np.std([each.value for each in part.values()]) for part in (found.by_group, found.drawn))
        assert drawn < own
    assert sum(found.chance < 0.05 for found in alike) <= 6  # of 30; more would come in 2 of 1,000 tries
    apart = [numbers.slopes(*_sums(np.random.default_rng([seed, 2]), 0.25), fewest=5) for seed in range(30)]
    assert np.mean([found.apart for found in apart]) == pytest.approx(0.25, abs=0.05)


def _sums(rng, apart):
    animal, x, y, sire, _ = fading(rng, sires=15, apart=apart)
    _, sxx, sxy = numbers.within(animal, x, y)
    return sxx, sxy, sire


def test_intervals_of_sires_hold_their_true_slopes_as_often_as_they_say():
    own = drawn = total = 0
    for seed in range(60):
        animal, x, y, sire, truth = fading(np.random.default_rng([seed, 3]), sires=12, animals=8, apart=0.15)
        _, sxx, sxy = numbers.within(animal, x, y)
        found = numbers.slopes(sxx, sxy, sire, fewest=5)
        for key in range(12):
            own += found.by_group[key].low <= truth[key] <= found.by_group[key].high
            drawn += found.drawn[key].low <= truth[key] <= found.drawn[key].high
            total += 1
    assert 0.92 < own / total < 0.975
    assert 0.93 < drawn / total < 0.99


def test_what_cannot_be_told_says_why():
    none = np.array([])
    assert numbers.share(0, 0).why
    assert numbers.slope(none, none, none).why == "it takes 5 independent groups of rows, and there are 0"
    ones = np.ones(20)
    assert "alike" in numbers.slope(ones, np.arange(20.0), np.arange(20)).why
    assert "4 animals" in numbers.correlation(ones[:3], ones[:3]).why
    assert "same step" in numbers.correlation(ones, np.arange(20.0)).why
    found = numbers.slopes(none, none, np.array([], dtype=int), fewest=5)
    assert found.all.why == "it takes 5 animals looked at twice, and there are 0"
    assert found.by_group == {} == found.drawn
    few = numbers.slopes(np.ones(6), np.ones(6), np.array([1, 1, 1, 2, 2, -1]), fewest=5)
    assert few.few == {1: 3, 2: 2}
