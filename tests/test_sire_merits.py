"""The sire page with merits: what the model took away adds up, who may read what, and nothing ranked too early."""

import pytest

from grading.level_words import EFFECT_WORDS, grader_names, graders_of, level_words
from grading.running.reading import EFFECTS

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("effect", "key", "words"),
    [
        ("grader and year", "7:2025", "a grader in 2025"),
        ("grader and year", "8:2025", "Edda Winslow in 2025"),
        ("grader and year", "-1:2025", "an unknown grader in 2025"),
        ("mode", "photo", "from photos"),
        ("age", "2", "6 to 9 months old"),
        ("age", "13", "3 years old, second quarter"),
        ("age", "32", "8 years old and more"),
        ("age", "-1", "age not known"),
        ("coat stage", "past_prime", "coat past prime"),
        ("coat stage", "", "coat stage not noted"),
        ("half-year", "2025:2", "July to December 2025"),
        ("an old effect", "x", "x"),
    ],
)
def test_levels_of_the_model_are_said_in_words(effect, key, words):
    assert level_words(effect, key, {8: "Edda Winslow"}) == words


def test_every_effect_of_a_run_has_words():
    assert set(EFFECT_WORDS) == set(EFFECTS)


def test_a_grader_is_named_to_officers_and_to_that_grader_alone(cast):
    keys = graders_of({f"{cast.grader.pk}:2025": [0.1, 9], f"{cast.keeper.pk}:2024": [0.2, 4], "-1:2025": [0, 1]})
    assert keys == {cast.grader.pk, cast.keeper.pk}
    assert grader_names(cast.officer, keys) == {cast.grader.pk: "Edda Winslow", cast.keeper.pk: "Ida Ashgrove"}
    assert grader_names(cast.grader, keys) == {cast.grader.pk: "Edda Winslow"}
    assert grader_names(cast.fellow, keys) == {}
