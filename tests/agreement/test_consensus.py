"""The consensus against least squares and likelihood written out, and against invented truths."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_allclose
from scipy.optimize import minimize

from grading.agreement import WrongInput, consensus

from .made import LEAN, SCATTER, beside_consensus, graded

NO = np.nan
LONG = 40  # photos of a calibration set


def written_out(scores):
    """Answers (a,), and the columns of photos and of graders at each, (a, n + k)."""
    photo, grader = np.nonzero(~np.isnan(scores))
    columns = np.hstack([np.eye(scores.shape[0])[photo], np.eye(scores.shape[1])[grader]])
    return scores[photo, grader], columns, grader


@pytest.fixture
def bare(monkeypatch):
    """Without our prior and floors the variances are those of the likelihood alone."""
    for name in ("PRIOR", "SHARE", "ROUNDING"):
        monkeypatch.setattr(f"grading.agreement.truths.{name}", 0.0)


@pytest.mark.parametrize("seed", [1, 2])
def test_truths_leans_and_errors_are_those_of_weighted_least_squares(seed):
    rng = np.random.default_rng(seed)
    scores = graded(rng, rng.normal(5, 1.5, 12), missing=0.25)
    found = consensus(scores)
    answers, columns, grader = written_out(scores)
    weight = 1 / found.scatter**2
    rule = np.append(np.zeros(12), np.bincount(grader) * weight)  # leans sum to zero by weight
    normal = np.block(
        [[columns.T @ (weight[grader][:, None] * columns), rule[:, None]], [rule[None, :], np.zeros((1, 1))]]
    )
    inverse = np.linalg.inv(normal)
    solution = inverse @ np.append(columns.T @ (weight[grader] * answers), 0.0)
    assert_allclose(found.value, solution[:12], atol=1e-9)
    assert_allclose(found.lean, solution[12:17], atol=1e-9)
    assert_allclose(found.error, np.sqrt(np.diag(inverse)[:12]), atol=1e-9)


@pytest.mark.usefixtures("bare")
def test_variances_are_where_the_restricted_likelihood_is_highest():
    rng = np.random.default_rng(3)
    scores = graded(rng, rng.normal(5, 1.5, LONG), missing=0.2)
    answers, columns, grader = written_out(scores)
    columns = columns[:, :-1]  # the last grader is the zero of the leans

    def minus_twice_log_likelihood(log_variance):
        weight = np.exp(-log_variance)[grader]
        normal = columns.T @ (weight[:, None] * columns)
        left = answers - columns @ np.linalg.solve(normal, columns.T @ (weight * answers))
        return -np.log(weight).sum() + np.linalg.slogdet(normal)[1] + (weight * left**2).sum()

    best = minimize(minus_twice_log_likelihood, np.zeros(5), method="BFGS", options={"gtol": 1e-6})
    found = consensus(scores)
    assert found.converged
    assert_allclose(found.scatter**2, np.exp(best.x), rtol=1e-3)


@pytest.mark.usefixtures("bare")
def test_the_variances_of_three_graders_are_grubbs_estimators():
    """Grubbs (1948), Annals of Mathematical Statistics 19:243-264 (formula from memory)."""
    rng = np.random.default_rng(4)
    scores = rng.normal(5, 1.5, 200)[:, None] + np.array([0.5, 0.8, 1.1]) * rng.standard_normal((200, 3))
    first, second, third = scores.T
    apart = [np.var(one - other, ddof=1) for one, other in ((first, second), (first, third), (second, third))]
    grubbs = [
        (apart[0] + apart[1] - apart[2]) / 2,
        (apart[0] + apart[2] - apart[1]) / 2,
        (apart[1] + apart[2] - apart[0]) / 2,
    ]
    assert_allclose(consensus(scores).scatter ** 2, grubbs, rtol=1e-6)


def test_invented_truths_are_found_within_their_errors_and_as_well_as_if_all_were_known():
    """100 sets; errors come from the same leans within a set, so the share that is held may stray a little."""
    rng = np.random.default_rng(5)
    held, plain, found, known = [], [], [], []
    best = 1 / (SCATTER**2 + 1 / 12)  # with the rounding to steps
    for _ in range(100):
        truth = rng.uniform(3, 7, LONG)
        scores = graded(rng, truth, missing=0.1)
        agreed = consensus(scores)
        told = ~np.isnan(scores)
        zero = np.average(LEAN, weights=agreed.weight * told.sum(axis=0))
        held.append(np.mean(np.abs(agreed.value - truth - zero) < 1.96 * agreed.error))
        plain.append(np.var(np.nanmean(scores, axis=1) - truth))
        found.append(np.var(agreed.value - truth))
        known.append(np.var((told * best * np.nan_to_num(scores - LEAN)).sum(axis=1) / (told @ best) - truth))
    assert 0.93 < np.mean(held) < 0.97
    assert np.mean(found) < 0.85 * np.mean(plain)
    assert np.mean(found) < 1.1 * np.mean(known)


def test_scatter_is_told_apart_though_drawn_together_by_the_prior():
    rng = np.random.default_rng(6)
    found = np.mean([consensus(graded(rng, rng.uniform(3, 7, LONG))).scatter for _ in range(40)], axis=0)
    true = np.sqrt(SCATTER**2 + 1 / 12)  # with the rounding to steps
    assert (np.diff(found) > 0).all()
    assert_allclose(found, true, atol=0.15)


def test_leans_sum_to_zero_by_weight_and_a_shift_of_one_grader_moves_only_leans():
    rng = np.random.default_rng(7)
    scores = graded(rng, rng.uniform(3, 7, LONG))
    found, shifted = consensus(scores), consensus(scores + np.array([0, 0, 1.0, 0, 0]))
    assert found.lean @ found.weight == pytest.approx(0, abs=1e-12)
    assert_allclose(shifted.weight, found.weight, atol=1e-6)
    assert_allclose(shifted.lean - found.lean, beside_consensus(np.eye(5)[2], found.weight), atol=1e-6)
    assert (shifted.discuss == found.discuss).all()


def test_no_grader_takes_all_the_weight_however_steady():
    rng = np.random.default_rng(8)
    truth = rng.integers(2, 9, LONG).astype(float)
    scores = np.column_stack([truth, truth, np.clip(truth[:, None] + rng.integers(-2, 3, (LONG, 2)), 1, 9)])
    found = consensus(scores)
    assert found.floored.tolist() == [True, True, False, False]
    assert found.weight.max() < 0.5


def test_photos_on_which_the_best_differ_are_for_talking_and_not_scored():
    rng = np.random.default_rng(9)
    truth = np.tile([3.0, 4, 5, 6, 7], 8)
    scores = np.column_stack([truth, truth + 1, truth, np.clip(truth + rng.integers(-3, 4, LONG), 1, 9)])
    scores[4, :3] = [3, 7, 9]  # the steady ones are three steps apart, the lean of the second taken off
    scores[9, 3] = 1  # only the unsteady one is far off
    found = consensus(scores)
    assert np.flatnonzero(found.discuss).tolist() == [4]
    assert np.flatnonzero(~found.scored).tolist() == [4]
    assert any("talk about" in note for note in found.notes)


def test_others_consensus_leaves_the_graders_own_answers_out():
    rng = np.random.default_rng(10)
    scores = graded(rng, rng.uniform(3, 7, 15), missing=0.1)
    found = consensus(scores)
    for grader in range(5):
        rest = [other for other in range(5) if other != grader]
        weight = np.where(np.isnan(scores[:, rest]), 0, found.weight[rest])
        by_hand = (weight * np.nan_to_num(scores[:, rest] - found.lean[rest])).sum(axis=1) / weight.sum(axis=1)
        assert_allclose(found.of_others(grader), by_hand)


def test_two_graders_weigh_the_same():
    scores = np.array([[3.0, 4], [5, 5], [6, 8], [2, 3], [7, 7]])
    found = consensus(scores)
    assert found.weight.tolist() == pytest.approx([0.5, 0.5])
    assert_allclose(found.value, scores.mean(axis=1))
    assert any("two graders" in note for note in found.notes)


def test_groups_that_share_no_photo_are_fitted_by_themselves_and_said_so():
    rng = np.random.default_rng(11)
    truth = rng.uniform(3, 7, 30)
    scores = graded(rng, truth, np.zeros(6), np.full(6, 0.6))
    scores[:15, 3:], scores[15:, :3] = NO, NO
    found = consensus(scores)
    assert found.group.tolist() == [0, 0, 0, 1, 1, 1]
    assert_allclose(found.value[:15], consensus(scores[:15, :3]).value)
    assert np.isnan(found.of_others(0)[15:]).all()
    assert any("2 groups" in note for note in found.notes)


@pytest.mark.parametrize(
    ("scores", "says"),
    [
        (np.empty((0, 3)), "Nothing to compare"),
        ([[5.0], [4.0]], "Nothing to compare: 1 grader answered."),
        ([[NO, NO], [NO, NO]], "Without a single step: 2 graders."),
        ([[1, NO], [NO, 2]], "Sharing no photo with anybody"),
        ([[4, 6]], "Too few photos are shared"),
    ],
)
def test_without_shared_photos_nothing_is_scored_and_a_sentence_says_so(scores, says):
    found = consensus(scores)
    assert not found.scored.any()
    assert np.isnan(found.error).all()
    assert any(says in note for note in found.notes)


def test_a_grader_who_cannot_tell_throughout_counts_for_nothing():
    rng = np.random.default_rng(12)
    scores = graded(rng, rng.uniform(3, 7, 20))
    with_silent = np.column_stack([scores, np.full(20, NO)])
    found = consensus(with_silent)
    assert_allclose(found.value, consensus(scores).value)
    assert found.weight[5] == 0
    assert np.isnan(found.lean[5])
    assert "Without a single step: 1 grader." in found.notes


def test_everyone_answering_5_is_full_agreement_with_the_error_of_rounding():
    found = consensus(np.full((6, 3), 5.0))
    assert (found.value == 5).all()
    assert (found.lean == 0).all()
    assert_allclose(found.error, np.sqrt(1 / 12 / 3))
    assert found.floored.all()


@settings(max_examples=40, deadline=None)
@given(
    st.tuples(st.integers(1, 10), st.integers(1, 5)).flatmap(
        lambda shape: arrays(float, shape, elements=st.one_of(st.integers(1, 9).map(float), st.just(NO)))
    )
)
def test_any_table_settles_and_only_what_nobody_answered_stays_open(scores):
    found = consensus(scores, 9)
    assert found.converged
    assert ((found.answers > 0) == ~np.isnan(found.value)).all()
    assert (found.scored <= ((found.answers >= 2) & ~np.isnan(found.error))).all()
    assert ((found.group >= 0) == ~np.isnan(found.lean)).all()
    for number in range(found.group.max() + 1):
        assert found.weight[found.group == number].sum() == pytest.approx(1)


def test_steps_off_the_scale_are_refused():
    with pytest.raises(WrongInput, match="11 at photo 1, grader 2 is not a step of the scale 0 to 10"):
        consensus([[3, 11], [4, 5]], range(0, 11))
