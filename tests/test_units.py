"""Weights: the pound of 1959 both ways, what people type, and what is refused."""

from fractions import Fraction

import pytest
from django.core.exceptions import ValidationError

from herds.forms.weights import WeightField
from herds.units import (
    NotAWeight,
    gain_words,
    grams_from_kg,
    grams_from_lb_oz,
    lb_oz_from_grams,
    parse_weight,
    weight_words,
)

# International yard and pound agreement, 1 July 1959: 1 lb = 0.45359237 kg exactly, 16 oz to the pound.
POUND_KG = Fraction("0.45359237")


def test_the_pound_is_that_of_1959():
    assert grams_from_lb_oz(100_000_000, 0) == 45_359_237_000 == POUND_KG * 1000 * 100_000_000


@pytest.mark.parametrize(
    ("pounds", "ounces", "grams"),
    [(1, 0, 454), (9, 3, 4167), (10, 8, 4763), (0, 1, 28), (4, 8, 2041), (9, 8, 4309), (12, 0, 5443)],
)
def test_pounds_and_ounces_give_the_nearest_gram(pounds, ounces, grams):
    assert grams == round(POUND_KG * 1000 * (pounds + Fraction(ounces, 16)))
    assert grams_from_lb_oz(pounds, ounces) == grams


def test_every_quarter_ounce_up_to_thirty_pounds_comes_back_as_it_was_typed():
    for quarters in range(1, 30 * 64 + 1):
        pounds, ounces = divmod(Fraction(quarters, 4), 16)
        grams = grams_from_lb_oz(int(pounds), ounces)
        assert lb_oz_from_grams(grams) == (int(pounds), ounces)
        again = grams_from_lb_oz(*lb_oz_from_grams(grams))
        assert again == grams


def test_every_gram_comes_back_from_kilograms():
    for grams in range(10, 15_001, 7):
        assert grams_from_kg(Fraction(grams, 1000)) == grams
        words = weight_words(grams, "kg")
        assert parse_weight(words, "kg") == grams


def test_what_is_shown_in_pounds_is_within_half_a_quarter_ounce():
    half_step_grams = POUND_KG * 1000 / 16 / 8
    for grams in range(10, 15_001, 13):
        pounds, ounces = lb_oz_from_grams(grams)
        assert 0 <= ounces < 16
        assert abs((pounds + ounces / 16) * POUND_KG * 1000 - grams) <= half_step_grams


@pytest.mark.parametrize(
    "typed", ["9 lb 3", "9-3", "9lb 3oz", "9 lbs 3 ozs", "9 3", "9 lb. 3 oz.", "9#3", " 9  LB  3 Oz ", "9–3", "147 oz"]
)
@pytest.mark.parametrize("unit", ["lb_oz", "kg"])
def test_nine_pounds_three_can_be_typed_in_many_ways(typed, unit):
    assert parse_weight(typed, unit) == 4167


@pytest.mark.parametrize("typed", ["4,17 kg", "4.17 kg", "4170 g", "4170g", "4.17kg", "4170 grams"])
@pytest.mark.parametrize("unit", ["lb_oz", "kg"])
def test_kilograms_and_grams_are_read_whatever_the_members_unit(typed, unit):
    assert parse_weight(typed, unit) == 4170


@pytest.mark.parametrize(
    ("typed", "grams"), [("4,17", 4170), ("4.17", 4170), ("4", 4000), ("4170", 4170), ("0.06", 60)]
)
def test_a_bare_number_is_kilograms_for_who_weighs_in_them_and_grams_from_a_hundred_on(typed, grams):
    assert parse_weight(typed, "kg") == grams


def test_a_bare_whole_number_is_pounds_for_who_weighs_in_them():
    assert parse_weight("9", "lb_oz") == grams_from_lb_oz(9, 0)


@pytest.mark.parametrize(
    ("typed", "unit", "said"),
    [
        ("9 lb 20", "lb_oz", "A pound has 16 ounces, so 20 oz cannot stand beside pounds. Was 10 lb 4 oz meant?"),
        ("-9", "lb_oz", "-9 is below nothing. A weight is more than 0."),
        ("−4 kg", "kg", "−4 kg is below nothing. A weight is more than 0."),
        ("0", "lb_oz", "0 is no weight. A weight is more than 0."),
        ("9.3", "lb_oz", "9.3 can be read in two ways. Write 9-3 for pounds and ounces, or 9.3 lb."),
        ("60", "kg", "60 kg is too much for the scale. If grams were meant, write 60 g."),
        ("9.5 lb 3", "lb_oz", "Parts of a pound cannot stand beside ounces."),
        ("heavy", "lb_oz", "“heavy” cannot be read as a weight. Write pounds and ounces, such as 9 lb 3 oz or 9-3."),
        ("heavy", "kg", "“heavy” cannot be read as a weight. Write kilograms or grams, such as 4.17 kg or 4170 g."),
        ("", "kg", "No weight was given."),
        ("1e3", "kg", "“1e3” cannot be read as a weight."),
        ("9" * 5000, "kg", "So long a text is no weight."),
    ],
)
def test_what_is_no_weight_is_refused_in_a_sentence(typed, unit, said):
    with pytest.raises(NotAWeight) as refusal:
        parse_weight(typed, unit)
    assert said in str(refusal.value)


@pytest.mark.parametrize(
    ("boxes", "unit", "grams"),
    [
        (["9", "3"], "lb_oz", 4167),
        (["9", ""], "lb_oz", 4082),
        (["", "14"], "lb_oz", 397),
        (["0", "13,5"], "lb_oz", 383),
        (["9.5", ""], "lb_oz", 4309),
        (["9-3", ""], "lb_oz", 4167),
        (["4170 g", ""], "lb_oz", 4170),
        (["4,17"], "kg", 4170),
        (["9 lb 3"], "kg", 4167),
    ],
)
def test_the_weight_field_reads_its_boxes(boxes, unit, grams):
    assert WeightField(unit=unit).clean(boxes) == grams


@pytest.mark.parametrize(
    ("boxes", "said"),
    [
        (["9", "20"], "A pound has 16 ounces"),
        (["9", "x"], "“x” is no number of ounces"),
        (["9", "-3"], "“-3” is no number of ounces"),
        (["9", "3" * 5000], "So long a text is no weight."),
        (["0", "0"], "This is no weight."),
        (["", ""], "No weight was given. Write pounds and ounces"),
        ([], "No weight was given."),
    ],
)
def test_the_weight_field_refuses_in_sentences(boxes, said):
    with pytest.raises(ValidationError) as refusal:
        WeightField(unit="lb_oz").clean(boxes)
    assert said in refusal.value.messages[0]


def test_the_weight_field_shows_a_saved_weight_in_its_boxes():
    assert WeightField(unit="lb_oz").widget.decompress(4167) == ["9", "3"]
    assert WeightField(unit="kg").widget.decompress(4170) == ["4.17"]


@pytest.mark.parametrize(
    ("grams", "unit", "words"),
    [
        (4167, "lb_oz", "9 lb 3 oz"),
        (4082, "lb_oz", "9 lb"),
        (383, "lb_oz", "13.5 oz"),
        (4170, "kg", "4.17 kg"),
        (4175, "kg", "4.175 kg"),
        (4000, "kg", "4.00 kg"),
        (640, "kg", "640 g"),
        (None, "kg", ""),
    ],
)
def test_weights_are_said_as_breeders_say_them(grams, unit, words):
    assert weight_words(grams, unit) == words


def test_a_gain_keeps_its_sign():
    assert gain_words(38.4, "kg") == "+38 g a day"
    assert gain_words(-7.0, "lb_oz") == "-0.2 oz a day"
    assert gain_words(None, "kg") == ""
