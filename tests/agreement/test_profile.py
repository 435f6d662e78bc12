"""Profiles of graders whose leanings, drift and halo were invented and must be found."""

import math
from dataclasses import fields

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.proportion import proportion_confint

from grading.agreement import Estimate, WrongInput, consensus, grader_profile
from grading.agreement.intervals import mean_difference, partial_slope, ratio_of_spreads, scatter_of_repeats, share

from .made import LEAN, SCATTER, beside_consensus, graded

NO = np.nan
SETS = 100
HALO = np.array([0.0, 0.3, 0.0, 0.0, -0.2])


def invented_set(rng, photos=40):
    """Scores, second answers to ten photos, last year's to twenty, and the type: all of five graders."""
    truth = rng.uniform(3, 7, photos)
    type_step = np.clip(np.round(5 + 0.4 * (truth - 5) + rng.normal(0, 1.3, photos)), 1, 9)
    swayed = (type_step[:, None] - 5) * HALO

    def look(lean):
        steps = truth[:, None] + lean + swayed + SCATTER * rng.standard_normal((photos, 5))
        return np.clip(np.round(steps), 1, 9)

    scores, again, last_year = look(LEAN), look(LEAN), look(LEAN - [0.4, 0, 0, 0, 0])
    again[10:], last_year[:20] = NO, NO
    return scores, again, last_year, type_step, swayed


@pytest.fixture(scope="module")
def found_of():
    """For each figure, whether its interval held the invented value, (sets, graders)."""
    rng = np.random.default_rng(21)
    found = {name: np.empty((SETS, 5), dtype=bool) for name in ("lean", "self_scatter", "drift", "halo")}
    for row in range(SETS):
        scores, again, last_year, type_step, swayed = invented_set(rng)
        agreed = consensus(scores)
        weight = agreed.weight
        true = {
            "lean": beside_consensus(LEAN + swayed.mean(axis=0), weight),
            "self_scatter": np.sqrt(SCATTER**2 + 1 / 12),  # with the rounding to steps
            "drift": np.array([0.4, 0, 0, 0, 0]),
            "halo": HALO - (weight @ HALO - weight * HALO) / (1 - weight),  # beside the others, who have theirs
        }
        for grader in range(5):
            profile = grader_profile(
                scores,
                grader,
                9,
                agreed=agreed,
                again=again[:, grader],
                last_year=last_year[:, grader],
                type_steps=type_step,
            )
            for name, values in true.items():
                estimate = getattr(profile, name)
                found[name][row, grader] = estimate.low <= values[grader] <= estimate.high
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", ["lean", "self_scatter", "drift", "halo"])
def test_intervals_hold_the_invented_values_about_95_times_in_100(found_of, name):
    """Three standard errors of the share, each of the sets taken as one draw of five graders alike."""
    held = found_of[name].mean(axis=1)
    assert abs(held.mean() - 0.95) < 3 * held.std(ddof=1) / np.sqrt(SETS)


def test_a_large_set_finds_who_leans_drifts_and_is_swayed_by_type():
    scores, again, last_year, type_step, swayed = invented_set(np.random.default_rng(22), photos=300)
    profiles = [
        grader_profile(scores, g, 9, again=again[:, g], last_year=last_year[:, g], type_steps=type_step)
        for g in range(5)
    ]
    lean = beside_consensus(LEAN + swayed.mean(axis=0), np.array([p.weight for p in profiles]))
    assert_allclose([p.lean.value for p in profiles], lean, atol=0.15)
    assert profiles[0].lean.low > 0
    assert profiles[1].lean.high < 0
    assert profiles[4].lean.high < 0
    assert [p.grader for p in profiles if p.drift.low > 0] == [0]
    assert profiles[1].halo.low > 0
    assert profiles[4].halo.high < 0
    assert np.argmax([p.weight for p in profiles]) == np.argmin(SCATTER)
    assert np.argmin([p.weight for p in profiles]) == np.argmax(SCATTER)
    assert profiles[0].agreement.value > profiles[4].agreement.value
    assert profiles[0].cannot_tell.value == 0


def test_a_grader_who_uses_half_the_scale_shows_it():
    rng = np.random.default_rng(23)
    truth = rng.uniform(2, 8, 60)
    scores = graded(rng, truth, np.zeros(4), np.full(4, 0.4))
    scores[:, 3] = np.round(5 + (truth - 5) / 2)
    profile = grader_profile(scores, 3, 9)
    assert profile.spread.value == pytest.approx(0.5, abs=0.1)
    assert profile.spread.high < 0.75
    assert all(3 <= step <= 7 for step, _ in profile.steps_used)
    assert sum(times for _, times in profile.steps_used) == 60
    assert grader_profile(scores, 0, 9).spread.low > 0.8


def test_the_graders_own_answers_do_not_make_agreement_with_the_others():
    rng = np.random.default_rng(24)
    scores = graded(rng, np.full(200, 5.0), np.zeros(3), np.full(3, 1.0))
    profile = grader_profile(scores, 0, 9)
    assert abs(profile.agreement.value) < 0.2
    assert abs(profile.correlation.value) < 0.2


def test_photos_up_for_discussion_are_not_scored():
    truth = np.tile([3.0, 4, 5, 6, 7], 6)
    scores = np.column_stack([truth, truth, truth])
    scores[0] = [2, 5, 8]
    assert grader_profile(scores, 0, 9).lean.n == 29


def test_the_interval_of_a_lean_goes_by_the_scatter_on_all_photos():
    """Leaving out the widest photos and going by the rest held the truth 93 times in 100, in 600 sets of 40 photos."""
    rng = np.random.default_rng(28)
    scores = graded(rng, rng.uniform(3, 7, 40), missing=0.1)
    agreed = consensus(scores)
    assert agreed.discuss.any()
    away = scores[:, 4] - agreed.value
    n = agreed.scored.sum()
    lean = grader_profile(scores, 4, 9, agreed=agreed).lean
    assert lean.value == pytest.approx(away[agreed.scored].mean())
    assert lean.high - lean.value == pytest.approx(stats.t.ppf(0.975, n - 1) * away.std(ddof=1) / np.sqrt(n))


ANSWERS_OF_NO_USE = {
    "one grader": ([[5.0], [4.0], [6.0]], 0),
    "cannot tell throughout": ([[NO, 4, 5], [NO, 3, 3], [NO, 7, 6]], 0),
    "no photo": (np.empty((0, 2)), 1),
    "one photo": ([[4, 6]], 0),
}


@pytest.mark.parametrize("name", ANSWERS_OF_NO_USE)
def test_figures_that_cannot_be_worked_out_have_a_sentence_each(name):
    scores, grader = ANSWERS_OF_NO_USE[name]
    profile = grader_profile(scores, grader, 9)
    for figure in ("lean", "spread", "agreement", "correlation", "self_agreement", "self_scatter", "drift", "halo"):
        estimate = getattr(profile, figure)
        assert estimate.value is None
        assert estimate.note.endswith(".")
    assert profile.scatter is None


@pytest.mark.parametrize(
    "scores",
    [[[3, 4], [6, 7]], np.full((5, 3), 5.0), [[5, 3], [5, 4], [5, 6], [5, 7]], [[3, NO, 4], [6, NO, 7], [NO, NO, 2]]],
    ids=["two photos", "everyone answers 5", "one answers 5", "gaps"],
)
def test_a_profile_of_few_or_like_answers_holds_no_number_that_is_none(scores):
    scores = np.array(scores, dtype=float)
    beside = np.arange(len(scores)) + 1.0
    for grader in range(scores.shape[1]):
        profile = grader_profile(
            scores, grader, 9, again=scores[:, grader], last_year=scores[:, grader], type_steps=beside
        )
        for field in fields(profile):
            value = getattr(profile, field.name)
            if isinstance(value, Estimate):
                assert value.value is not None or value.note.endswith(".")
                assert value.low is None or value.low <= value.value <= value.high
            elif isinstance(value, float):
                assert not math.isnan(value)


def test_cannot_tell_counts_only_photos_that_were_shown():
    scores = np.array([[NO, 4], [3, 3], [NO, 5], [6, 6]])
    assert grader_profile(scores, 0, 9).cannot_tell.value == 0.5
    profile = grader_profile(scores, 0, 9, shown=[True, True, False, True])
    assert profile.cannot_tell.value == pytest.approx(1 / 3)
    assert profile.cannot_tell.n == 3


def test_plain_intervals_are_those_of_scipy_and_statsmodels():
    rng = np.random.default_rng(25)
    one, other, third = rng.normal(0, 2, (3, 30))
    found = mean_difference(one, other)
    theirs = stats.ttest_rel(one, other).confidence_interval(0.95)
    assert_allclose([found.low, found.high], theirs)
    assert_allclose([share(3, 17).low, share(3, 17).high], proportion_confint(3, 17, method="wilson"))
    fit = OLS(one, np.column_stack([np.ones(30), third, other])).fit()
    slope = partial_slope(one, other, third, np.ones(30, dtype=bool))
    assert_allclose([slope.value, slope.low, slope.high], [fit.params[2], *fit.conf_int()[2]])


def test_the_interval_of_a_ratio_of_spreads_is_where_pitmans_test_turns():
    """At each end, these and those scaled to the same spread have sum and difference correlated at the limit of t."""
    rng = np.random.default_rng(26)
    other = rng.normal(5, 1.5, 25)
    one = other + rng.normal(0, 0.8, 25)
    found = ratio_of_spreads(one, other)
    for end in (found.low, found.high):
        scaled = other * end
        assert stats.pearsonr(one - scaled, one + scaled).pvalue == pytest.approx(0.05, abs=1e-9)


def test_scatter_of_repeats_holds_the_truth_about_95_times_in_100():
    rng = np.random.default_rng(27)
    held = []
    for _ in range(2000):
        found = scatter_of_repeats(*rng.normal(0, 0.7, (2, 8)))
        held.append(found.low <= 0.7 <= found.high)
    assert np.mean(held) == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / 2000))


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"grader": 2}, "There is no grader 2 among 2"),
        ({"again": [1, 2]}, "are 2 and the photos 3"),
        ({"last_year": [1, 2, 12]}, "12 at photo 3 is not a step of the scale 1 to 9"),
        ({"shown": [True]}, "3 photos and 1 marks"),
        ({"shown": [False, True, True]}, "marked as not shown"),
        ({"agreed": consensus([[1, 2], [3, 4], [5, 5]])}, "of other scores"),
    ],
)
def test_what_does_not_belong_together_is_refused_in_a_sentence(options, says):
    with pytest.raises(WrongInput, match=says):
        grader_profile([[1, 2], [3, 4], [5, 6]], **({"grader": 0, "steps": 9} | options))
