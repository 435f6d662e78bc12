"""What a result says is no more than its interval bears out: few photos say that they cannot tell."""

import numpy as np
import pytest

from grading.calibrating import sums, words
from grading.models import Trait

# Figures are made up; which sentence belongs to which interval is our own choice (grading/calibrating/words.py).


def estimate(value, low=None, high=None, n=6, note=""):
    return {"value": value, "low": low, "high": high, "n": n, "note": note}


@pytest.fixture
def shade():
    return Trait(name="Surface shade", section=1, summary="surface")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((0.1, -0.2, 0.4), "You lean no way to speak of."),
        ((0.1, -1.9, 2.1), "No lean shows, but so few photos could hide one of 2.1 steps."),
        ((0.0, None, None), "No lean shows, but so few photos could hide any."),
        ((0.6, -0.2, 1.4), "You may see it 0.6 steps brighter than the others; so few photos cannot say for sure."),
        ((-1.0, -1.4, -0.6), "You see it 1.0 step darker than the others."),
    ],
)
def test_a_lean(shade, given, said):
    assert words.lean(shade, estimate(*given)) == said


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((0.1, -0.2, 0.4), "You see it as you did last year."),
        ((0.1, -1.9, 2.1), "No change since last year shows, but so few photos could hide one."),
        ((0.7, -0.3, 1.7), "You may see it 0.7 steps brighter than last year; so few photos cannot say for sure."),
        ((-0.7, None, None), "You may see it 0.7 steps darker than last year; so few photos cannot say for sure."),
        ((0.7, 0.3, 1.1), "You see it 0.7 steps brighter than last year."),
    ],
)
def test_a_drift(shade, given, said):
    assert words.drift(shade, estimate(*given)) == said


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((0.95, 0.85, 0.99), "You see it as the others do."),
        ((0.95, 0.1, 1.0), "So few photos cannot say how alike you and the others see it."),
        ((0.0, None, None), "So few photos cannot say how alike you and the others see it."),
        ((0.3, 0.1, 0.5), "You see it otherwise than the others."),
    ],
)
def test_an_agreement(given, said):
    assert words.agreed(estimate(*given)) == said


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((1.02, 0.9, 1.15), "You use about as much of the scale as the others."),
        ((1.5, 0.4, 5.6), "So few photos cannot say whether you use more or less of the scale than the others."),
        ((1.5, 1.2, 1.9), "You use more of the scale than the others: your ends lie further out."),
        ((0.0, None, None, 8, "Every photo got the same step."), "Every photo got the same step."),
    ],
)
def test_a_use_of_the_scale(given, said):
    assert words.spread(estimate(*given)) == said


@pytest.mark.parametrize(
    ("kappa", "scatter", "said"),
    [
        ((0.0, -0.6, 0.6), (0.5, 0.3, 1.1, 6), "Shown 6 photos again, you gave a step about 0.7 away from the first."),
        ((1.0, 1.0, 1.0), (0.0, 0.0, 0.4, 6), "Shown 6 photos again, you gave the same step each time."),
        (
            (1.0, None, None), (0.0, 0.0, 0.9, 1),
            "Shown one photo again, you gave the same step each time. So few cannot say how steady you are.",
        ),
        (
            (None, None, None, 6, "Every answer is the same step."), (0.0, 0.0, 0.4, 6),
            "Shown 6 photos again, you gave the same step each time.",
        ),
        (
            (0.1, -0.1, 0.3), (1.6, 1.0, 2.9, 8),
            "Shown 8 photos again, you gave a step about 2.3 away from the first. A rest, and the described steps "
            "beside you, help.",
        ),
    ],
)  # fmt: skip
def test_an_answer_given_twice(kappa, scatter, said):
    assert words.self_agreed(estimate(*kappa), estimate(*scatter)) == said


def test_of_many_graders_the_pairs_are_drawn_from_all_of_them():
    assert sums.pairs_of(3) == [(0, 1), (0, 2), (1, 2)]
    drawn = np.array(sums.pairs_of(400))
    assert drawn.shape == (sums.MOST_PAIRS, 2)
    assert (drawn[:, 0] < drawn[:, 1]).all()
    assert np.bincount(drawn.ravel(), minlength=400).max() < 12  # a pair holds two of 400: 1.5 each on the average
    assert sums.pairs_of(400) == sums.pairs_of(400)
