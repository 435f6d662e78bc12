"""What must hold of agreement whatever the graders answered."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from grading.agreement import WrongInput, intraclass_correlation, krippendorff_alpha, weighted_kappa
from grading.agreement.alpha import LEVELS
from grading.agreement.intraclass import FORMS

WEIGHTS = ["none", "linear", "quadratic"]
NO = np.nan

steps = st.integers(1, 9).map(float)
quick = settings(max_examples=30, deadline=None)


def tables(graders=None, missing=False):
    """Tables (photos, graders) of steps 1 to 9; two to five graders unless said."""
    answer = st.one_of(steps, st.just(NO)) if missing else steps
    shapes = st.tuples(st.integers(2, 12), st.just(graders) if graders else st.integers(2, 5))
    return shapes.flatmap(lambda shape: arrays(float, shape, elements=answer))


def well_formed(estimate):
    """A value within its interval, or a sentence that says why not; never NaN."""
    if estimate.value is None:
        return estimate.low is None and estimate.high is None and estimate.note.endswith(".")
    if estimate.low is None:
        return estimate.high is None and estimate.note.endswith(".")
    return estimate.low - 1e-9 <= estimate.value <= estimate.high + 1e-9


@quick
@given(tables(2, missing=True), st.sampled_from(WEIGHTS))
def test_kappa_does_not_ask_who_came_first_and_is_well_formed(scores, weights):
    one, other = scores.T
    found, turned = weighted_kappa(one, other, 9, weights), weighted_kappa(other, one, 9, weights)
    assert well_formed(found)
    assert found.value == (turned.value if turned.value is None else pytest.approx(turned.value, abs=1e-12))
    assert found.n == np.count_nonzero(~np.isnan(scores).any(axis=1))


@quick
@given(tables(2), st.sampled_from(WEIGHTS))
def test_kappa_is_the_same_on_the_scale_turned_round(scores, weights):
    found = weighted_kappa(*scores.T, 9, weights)
    turned = weighted_kappa(*(10 - scores).T, 9, weights)
    assert (found.value is None) == (turned.value is None)
    if found.value is not None:
        assert found.value == pytest.approx(turned.value, abs=1e-12)


@quick
@given(tables(2), st.permutations(range(1, 10)))
def test_plain_kappa_and_nominal_alpha_do_not_ask_what_the_steps_are_called(scores, names):
    renamed = np.array(names, dtype=float)[scores.astype(int) - 1]
    for one, other in (
        (weighted_kappa(*scores.T, 9, "none"), weighted_kappa(*renamed.T, 9, "none")),
        (krippendorff_alpha(scores, "nominal", draws=10), krippendorff_alpha(renamed, "nominal", draws=10)),
    ):
        assert (one.value is None) == (other.value is None)
        if one.value is not None:
            assert one.value == pytest.approx(other.value, abs=1e-12)


@quick
@given(st.lists(steps, min_size=2, max_size=12), st.integers(2, 4))
def test_graders_who_agree_on_everything_agree_fully(truth, graders):
    assume(len(set(truth)) > 1)
    scores = np.tile(np.array(truth)[:, None], graders)
    found = [weighted_kappa(scores[:, 0], scores[:, 1], 9, weights) for weights in WEIGHTS]
    found += [intraclass_correlation(scores, form) for form in FORMS]
    found += [krippendorff_alpha(scores, level, draws=10) for level in LEVELS]
    assert [estimate.value for estimate in found] == pytest.approx([1.0] * len(found))
    assert found[0].low < 1  # few pairs cannot prove that graders never differ


@quick
@given(tables(missing=True), st.sampled_from(FORMS), st.randoms(use_true_random=False))
def test_correlations_are_well_formed_and_do_not_ask_for_the_order_of_photos_or_graders(scores, form, chance):
    photos, graders = list(range(len(scores))), list(range(scores.shape[1]))
    chance.shuffle(photos)
    chance.shuffle(graders)
    found = intraclass_correlation(scores, form)
    shuffled = intraclass_correlation(scores[np.ix_(photos, graders)], form)
    assert well_formed(found)
    assert (found.value is None) == (shuffled.value is None)
    if found.value is not None:
        assert found.value == pytest.approx(shuffled.value, rel=1e-9, abs=1e-9)


def test_a_lean_lowers_agreement_but_not_consistency():
    rng = np.random.default_rng(7)
    scores = rng.normal(5, 1.5, 30)[:, None] + rng.normal(0, 0.7, (30, 3))
    leaning = scores + np.array([0.0, 0.0, 2.0])
    for form in ("3,1", "3,k"):
        assert intraclass_correlation(leaning, form).value == pytest.approx(intraclass_correlation(scores, form).value)
    for form in ("1,1", "2,1", "1,k", "2,k"):
        assert intraclass_correlation(leaning, form).value < intraclass_correlation(scores, form).value - 0.05


@quick
@given(tables(missing=True), st.sampled_from(LEVELS))
def test_alpha_never_comes_out_as_no_number_and_leaves_single_answers_out(scores, level):
    found = krippendorff_alpha(scores, level, draws=50)
    with_single = np.vstack([scores, [7.0] + [NO] * (scores.shape[1] - 1)])
    assert found == krippendorff_alpha(with_single, level, draws=50)
    assert found.value is not None or found.note


@quick
@given(tables())
def test_ordinal_alpha_asks_only_for_the_order_of_the_steps(scores):
    found, stretched = (krippendorff_alpha(table, "ordinal", draws=10) for table in (scores, np.exp(scores)))
    assert (found.value is None) == (stretched.value is None)
    if found.value is not None:
        assert found.value == pytest.approx(stretched.value, abs=1e-9)


def test_the_same_seed_gives_the_same_interval_and_another_a_like_one():
    rng = np.random.default_rng(8)
    scores = np.clip(rng.normal(5, 1.5, 40).round()[:, None] + rng.integers(-1, 2, (40, 4)), 1, 9)
    first = krippendorff_alpha(scores)
    assert first == krippendorff_alpha(scores)
    other = krippendorff_alpha(scores, seed=2)
    assert (first.low, first.high) != (other.low, other.high)
    assert [first.low, first.high] == pytest.approx([other.low, other.high], abs=0.02)


@pytest.mark.parametrize(
    "nothing_to_tell",
    [
        np.empty((0, 2)),
        np.array([[5.0, 5.0]]),
        np.full((6, 2), 5.0),
        np.full((6, 2), NO),
        np.column_stack([[1.0, 4, 7, 2, 5, 8], np.full(6, NO)]),
    ],
    ids=["no photo", "one photo", "everyone answers 5", "nobody can tell", "one grader cannot tell throughout"],
)
def test_what_cannot_be_computed_has_no_value_and_a_sentence(nothing_to_tell):
    found = [weighted_kappa(*nothing_to_tell.T, 9), krippendorff_alpha(nothing_to_tell)]
    found += [intraclass_correlation(nothing_to_tell, form) for form in FORMS]
    for estimate in found:
        assert (estimate.value, estimate.low, estimate.high) == (None, None, None)
        assert estimate.note.endswith(".")


def test_one_grader_alone_has_no_agreement():
    for estimate in (intraclass_correlation([[1.0], [5.0]]), krippendorff_alpha([[1.0], [5.0]])):
        assert estimate.value is None
        assert estimate.note.endswith(".")


def test_a_grader_who_answers_5_throughout_agrees_as_chance_would():
    found = weighted_kappa([5] * 6, [1, 3, 5, 5, 7, 9], 9)
    assert (found.value, found.low, found.high) == (0.0, None, None)
    assert "same step" in found.note


def test_two_photos_have_figures_whose_note_or_width_warns():
    scores = np.array([[3.0, 4.0], [6.0, 6.0]])
    assert "2 pairs" in weighted_kappa(*scores.T, 9).note
    found = intraclass_correlation(scores)
    assert found.high - found.low > 0.5
    assert krippendorff_alpha(scores).note.endswith(".")


def test_a_silent_grader_and_a_gap_are_left_out_of_a_correlation_aloud():
    scores = np.array([[1, 2, NO], [4, 4, NO], [7, 6, NO], [3, NO, NO], [9, 8, NO]])
    found = intraclass_correlation(scores)
    assert found.value == intraclass_correlation(scores[[0, 1, 2, 4], :2]).value
    assert found.note == "Left out: 1 grader without an answer. Left out: 1 photo that not every grader could tell."


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: weighted_kappa([1, 12], [1, 2], 9), "12 at photo 2 is not a step of the scale 1 to 9"),
        (lambda: weighted_kappa([1, 2.5], [1, 2], 9), "2.5 at photo 2"),
        (lambda: weighted_kappa([1, 2, 3], [1, 2], 9), "3 and 2 answers"),
        (lambda: weighted_kappa([[1, 2]], [1, 2], 9), "one row of answers"),
        (lambda: weighted_kappa([1, 2], [1, 2], 1), "at least two different steps"),
        (lambda: weighted_kappa([1, 2], [1, 2], 9, "cubic"), "choose none, linear or quadratic"),
        (lambda: weighted_kappa(["a", "b"], [1, 2], 9), "must be numbers"),
        (lambda: intraclass_correlation([[1, 2], [3, np.inf]]), "inf at photo 2, grader 2 is not a number"),
        (lambda: intraclass_correlation([1, 2, 3]), "one row a photo"),
        (lambda: intraclass_correlation([[1, 2], [3, 4]], "4,1"), "no form '4,1'"),
        (lambda: krippendorff_alpha([[1, 2], [3, 4]], "ratio"), "no level 'ratio'"),
    ],
)
def test_what_makes_no_sense_is_refused_in_a_sentence(wrong, says):
    with pytest.raises(WrongInput) as refusal:
        wrong()
    assert says in str(refusal.value)
    assert str(refusal.value).endswith(".")


@pytest.mark.parametrize("pairs", [4, 10, 50])
def test_full_agreement_of_few_pairs_leaves_room_for_the_disagreement_that_could_be_unseen(pairs):
    """At the lower end the chance that so many pairs all agree is 2.5 % (binomial); half the steps are 1 and half 2."""
    found = weighted_kappa([1, 2] * (pairs // 2), [1, 2] * (pairs // 2), 2, "none")
    share_that_differs = (1 - found.low) / 2  # kappa of two steps with even margins
    assert (1 - share_that_differs) ** pairs == pytest.approx(0.025)
