"""The officer's editor of a draft: ages by months, weights in every unit, and the weight table."""

import pytest

from grading.models import WeightBand, WeightClass

from .edition_making import difference_words, fields_of, make_draft, plain, url

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(cast):
    return cast.client_of("officer")


@pytest.fixture
def draft(cast):
    return make_draft(cast.officer)


def test_months_are_changed_and_gaps_and_overlaps_told(officer, draft):
    address = url("ages", draft)
    assert officer.post(address, fields_of(officer, address, **{"to-junior": "5"})).status_code == 302
    assert "Between Junior and Intermediate, from 5 to 6 months, is no class." in officer.get(address).text
    assert officer.post(address, fields_of(officer, address, **{"to-junior": "7"})).status_code == 302
    assert "Junior ends at 7 months, yet Intermediate begins at 6: they overlap." in plain(officer.get(address))
    answer = officer.post(address, fields_of(officer, address, **{"to-junior": "0"}))
    assert "An age class must end after it starts." in answer.text
    answer = officer.post(address, fields_of(officer, address, **{"to-junior": "six"}))
    assert "Write whole months, 0 to 240." in answer.text


@pytest.mark.parametrize(
    ("unit", "typed", "grams"),
    # One pound is 0.45359237 kg exactly (international yard and pound agreement of 1959).
    [("lb_oz", "9 lb 8 oz", 4309), ("lb_oz", "9-8", 4309), ("kg", "4.31", 4310), ("kg", "9.5 lb", 4309),
     ("kg", "4310", 4310)],
)  # fmt: skip
def test_a_weight_is_typed_in_pounds_and_ounces_or_kilograms(officer, cast, draft, unit, typed, grams):
    type(cast.officer).objects.filter(pk=cast.officer.pk).update(weight_unit=unit)
    address = url("class", draft, "senior")
    assert officer.post(address, fields_of(officer, address, **{"doe-lowest": typed})).status_code == 302
    weights = WeightClass.objects.get(age_class__profile=draft, age_class__code="senior", sex="doe")
    assert (weights.lowest_grams, weights.highest_grams) == (grams, 5443)


def test_a_weight_that_is_not_touched_stays_to_the_gram_in_every_unit(officer, cast, draft):
    # 4,504 g are 158.87 oz: shown as 9 lb 14.75 oz, which read back would be 4,500 g.
    WeightClass.objects.filter(age_class__profile=draft, age_class__code="senior").update(lowest_grams=4504)
    type(cast.officer).objects.filter(pk=cast.officer.pk).update(weight_unit="lb_oz")
    address = url("class", draft, "senior")
    assert "9 lb 14.75 oz" in officer.get(address).text
    assert officer.post(address, fields_of(officer, address, name="Grown")).status_code == 302
    saved = WeightClass.objects.filter(age_class__profile=draft, age_class__code="senior")
    assert set(saved.values_list("lowest_grams", flat=True)) == {4504}


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"buck-lowest": "heavy"}, "cannot be read as a weight"),
        ({"buck-lowest": "13 lb"}, "The ideal weight must be over the lowest."),
        ({"both-lowest": "5 lb"}, "Give weights for buck and doe alike, or for each by itself, not both."),
        ({"name": ""}, "Give the class a name."),
    ],
)
def test_wrong_weights_are_answered(officer, draft, changed, sentence):
    address = url("class", draft, "senior")
    answer = officer.post(address, fields_of(officer, address, **changed))
    assert answer.status_code == 422
    assert sentence in plain(answer)


def test_an_age_class_is_added_and_taken_out(officer, draft):
    address = url("class-create", draft)
    sent = fields_of(officer, address) | {"name": "Old", "start": "60", "both-lowest": "4 kg"}
    assert officer.post(address, sent).status_code == 302
    row = draft.age_classes.get(code="old")
    assert (row.from_months, row.to_months, row.weights.get().lowest_grams) == (60, None, 4000)
    officer.post(url("part-remove", draft, "age_classes", "old"))
    assert difference_words(draft) == []


# Weight bands to points, Central European large silver: breed pages, read second-hand (grade B in our trade figures).
BANDS = [("3.50", "3.699", 5), ("3.70", "3.899", 6), ("3.90", "4.099", 7), ("4.10", "4.299", 8), ("4.30", "4.499", 9),
         ("4.50", "5.25", 10), ("5.251", "5.50", 9)]  # fmt: skip


def test_the_weight_table_is_typed_in_and_changed(officer, cast, draft):
    type(cast.officer).objects.filter(pk=cast.officer.pk).update(weight_unit="kg")
    address = url("bands", draft)
    sent = fields_of(officer, address)
    for number, (low, high, points) in enumerate(BANDS):
        sent |= {f"low-{number}": low, f"high-{number}": high, f"points-{number}": points}
    assert officer.post(address, sent).status_code == 302
    rows = list(WeightBand.objects.filter(profile=draft).values_list("lowest_grams", "highest_grams", "points"))
    assert rows == [(round(float(low) * 1000), round(float(high) * 1000), points) for low, high, points in BANDS]
    emptied = {"low-6": "", "high-6": "", "points-6": ""}
    assert officer.post(address, fields_of(officer, address, **emptied)).status_code == 302
    assert WeightBand.objects.filter(profile=draft).count() == 6


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        (("3.5", "3.7", ""), "Give the points of the band, or empty the whole line."),
        (("", "3.7", "5"), "Give the weight from which the band goes, or empty the whole line."),
        (("3.7", "3.5", "5"), "lowest weight cannot be over its highest."),
        (("5.0", "", "5"), "This band overlaps another one."),
        (("x", "", "5"), "cannot be read as a weight"),
    ],
)
def test_a_wrong_band_is_answered(officer, cast, draft, line, sentence):
    type(cast.officer).objects.filter(pk=cast.officer.pk).update(weight_unit="kg")
    address = url("bands", draft)
    sent = fields_of(officer, address) | {"low-0": "4.5", "high-0": "5.25", "points-0": "10"}
    sent |= dict(zip(("low-1", "high-1", "points-1"), line, strict=True))
    answer = officer.post(address, sent)
    assert answer.status_code == 422
    assert sentence in plain(answer)
    assert not WeightBand.objects.filter(profile=draft).exists()
