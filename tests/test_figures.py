"""Figures read one way on every page: true minus signs, one sign for per cent, no sign behind a word of direction."""

import re
from types import SimpleNamespace

import pytest

from grading import evaluation_words, fade, faults_thrown
from grading.comparing import merit_part
from grading.figures import percents, sizes
from grading.running import graders


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(0.84, 1.0, "84 to 100\xa0%"), (0.005, 0.02, "0.5 to 2\xa0%"), (0.0, 0.43, "0 to 43\xa0%")],
)
def test_an_interval_of_shares_has_one_sign_for_per_cent(low, high, said):
    assert percents(low, high) == said


def test_an_interval_behind_a_word_of_direction_has_no_signs():
    assert sizes(-0.48, -0.13) == "0.13 to 0.48"
    assert sizes(0.18, 0.33) == "0.18 to 0.33"
    line = SimpleNamespace(slope=-0.3, low=-0.48, high=-0.13)
    assert "fades by 0.30 steps a year (0.13 to 0.48)." in fade._compared(line, None)


def sentences():
    yield faults_thrown.Share(9, 147, 3).words
    yield evaluation_words.genetic_words((-0.59, -0.72, -0.41))
    yield graders.off_words([(3, -0.9, 0.4)], {3: "Somebody"})
    for slope in (-0.01, 0.0):
        yield merit_part.trend_words(SimpleNamespace(slope=slope, slope_low=-0.06, slope_high=0.03, animals=40))
    yield fade._compared(SimpleNamespace(slope=-0.1, low=-0.4, high=0.2), SimpleNamespace(slope=-0.3, low=-0.5, high=0))


def test_numbers_below_zero_have_a_true_minus_sign_everywhere():
    for said in sentences():
        assert not re.search(r"-\d", said), said
        assert "\u2212" in said or "%" in said
    assert next(sentences()).endswith("(3 to 11\xa0%)")
