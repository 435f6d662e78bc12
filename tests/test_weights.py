"""Weights: one form, the weigh screen for many in a row, the history with gain per day, and who may read it."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from herds.actions.weights import record_weight
from herds.growth import litter_weighings, weighings, weights_of_animal
from herds.models import Weight

from .cast import PEOPLE
from .factories import make_animal, make_litter, make_weight

HTMX = {"HX-Request": "true"}


def ago(days):
    return timezone.localdate() - timedelta(days=days)


def said(answer):
    return {name: list(errors) for name, errors in answer.context["form"].errors.items()}


@pytest.fixture
def litter(cast):
    return make_litter(cast.dam, cast.sire, kits=3, born_on=ago(21))


def weigh(cast, query, who="keeper", **data):
    data = {"weight_lb": "9", "weight_oz": "3", "on": ago(0), "note": ""} | data
    return cast.client_of(who).post(f"{reverse('weight-create')}?{query}", data)


def test_a_weight_in_pounds_and_ounces_is_kept_in_grams(cast):
    answer = weigh(cast, f"animal={cast.sire.pk}")
    assert answer.url == reverse("weight-list", args=[cast.sire.pk])
    weight = Weight.objects.get()
    # 9 lb 3 oz at 0.45359237 kg to the pound (international agreement of 1959)
    assert weight.grams == round(9.1875 * 453.59237) == 4167
    assert (weight.animal, weight.herd, weight.on, weight.logged_by) == (cast.sire, cast.herd, ago(0), cast.keeper)


def test_who_weighs_in_kilograms_gets_one_box_and_reads_kilograms(cast):
    cast.keeper.weight_unit = "kg"
    cast.keeper.save()
    client = cast.client_of("keeper")
    page = client.get(reverse("weight-create"), {"animal": cast.sire.pk}).content.decode()
    assert "weight_kg" in page
    assert "weight_lb" not in page
    weigh(cast, f"animal={cast.sire.pk}", weight_kg="4,17")
    assert Weight.objects.get().grams == 4170
    assert "4.17 kg" in client.get(reverse("weight-list", args=[cast.sire.pk])).content.decode()


def test_a_kit_and_a_whole_litter_are_weighed(cast, litter):
    kit = litter.kits.first()
    assert weigh(cast, f"kit={kit.pk}", weight_lb="", weight_oz="13.5").url == litter.get_absolute_url()
    assert weigh(cast, f"litter={litter.pk}", weight_lb="2", weight_oz="10", count=3).url == litter.get_absolute_url()
    assert {(weight.kit_id, weight.litter_id, weight.count) for weight in Weight.objects.all()} == {
        (kit.pk, None, None), (None, litter.pk, 3),
    }  # fmt: skip
    page = cast.client_of("keeper").get(litter.get_absolute_url()).content.decode()
    assert "day 21" in page
    assert "14 oz" in page  # 42 oz on the scale, three kits


@pytest.mark.parametrize(
    ("data", "field", "sentence"),
    [
        ({"weight_oz": "20"}, "weight", "A pound has 16 ounces, so 20 oz cannot stand beside pounds."),
        ({"weight_lb": "-9"}, "weight", "“-9” is no number of pounds."),
        ({"weight_lb": "", "weight_oz": ""}, "weight", "No weight was given."),
        ({"weight_lb": "0", "weight_oz": "0"}, "weight", "This is no weight."),
        ({"weight_lb": "40", "weight_oz": ""}, "weight", "40 lb is too much for A1 Slate"),
        ({"weight_lb": "", "weight_oz": "0.25"}, "weight", "0.25 oz is too little for A1 Slate."),
        ({"weight_lb": "heavy", "weight_oz": ""}, "weight", "“heavy” cannot be read as a weight."),
        ({"weight_lb": "9" * 400, "weight_oz": ""}, "weight", "So long a text is no weight."),
        ({"on": ago(-1)}, "on", "lies in the future"),
        ({"on": ago(4000)}, "on", "A1 Slate was born on"),
        ({"on": "2026-02-30"}, "on", "There is no such day."),
    ],
)
def test_bad_input_is_refused_by_the_field_and_what_was_typed_is_kept(cast, data, field, sentence):
    answer = weigh(cast, f"animal={cast.sire.pk}", **data)
    assert answer.status_code == 422
    assert sentence in said(answer)[field][0]
    assert not Weight.objects.exists()
    assert all(answer.context["form"].data[name] == str(value) for name, value in data.items())


def test_a_litter_may_weigh_more_than_an_animal_but_not_anything(cast, litter):
    assert weigh(cast, f"litter={litter.pk}", weight_lb="40", weight_oz="", count=3).status_code == 302
    answer = weigh(cast, f"litter={litter.pk}", weight_lb="140", weight_oz="", count=3, on=ago(1))
    assert "140 lb is too much for litter of A2 Birch" in said(answer)["weight"][0]
    answer = weigh(cast, f"litter={litter.pk}", count=0)
    assert answer.status_code == 422


def test_a_second_weight_on_a_day_is_asked_about_before_it_replaces_the_first(cast):
    weigh(cast, f"animal={cast.sire.pk}")
    answer = weigh(cast, f"animal={cast.sire.pk}", weight_oz="4")
    assert answer.status_code == 422
    assert "A1 Slate has 9 lb 3 oz in the log for" in answer.context["form"].cautions[0].text
    assert Weight.objects.get().grams == 4167
    token = answer.context["form"].token
    assert weigh(cast, f"animal={cast.sire.pk}", weight_oz="4", confirmed=token).status_code == 302
    assert Weight.objects.get().grams == 4196


def test_the_same_weight_sent_twice_is_saved_once(cast):
    for _ in range(2):
        assert weigh(cast, f"animal={cast.sire.pk}").status_code == 302
    assert Weight.objects.count() == 1


def sheet(cast, url, **data):
    return cast.client_of("keeper").post(url, data)


def test_a_herd_is_weighed_in_a_row_and_empty_rows_are_left_out(cast):
    url = reverse("weigh-herd", args=[cast.herd.slug])
    page = cast.client_of("keeper").get(url)
    assert [row.label for row in page.context["rows"]] == ["A1 Slate", "A2 Birch", "A3 Alder"]
    data = {f"animal{cast.sire.pk}-weight_lb": "10", f"animal{cast.daughter.pk}-weight_oz": "99"}
    assert sheet(cast, url, **data).status_code == 302
    assert {weight.animal: weight.grams for weight in Weight.objects.all()} == {cast.sire: 4536, cast.daughter: 2807}


def test_a_bad_row_is_refused_by_itself_and_the_good_ones_are_saved(cast):
    url = reverse("weigh-herd", args=[cast.herd.slug])
    data = {f"animal{cast.sire.pk}-weight_lb": "10", f"animal{cast.dam.pk}-weight_lb": "99"}
    answer = sheet(cast, url, **data)
    assert answer.status_code == 422
    errors = {row.label: row.error for row in answer.context["rows"] if row.error}
    assert list(errors) == ["A2 Birch"]
    assert errors["A2 Birch"].startswith("99 lb is too much for A2 Birch: 33 lb 1 oz is the most that is taken.")
    assert Weight.objects.get().animal == cast.sire
    assert "the others are in the log" in answer.content.decode()


def test_a_litters_row_is_the_whole_and_then_its_kits(cast, litter):
    marked = litter.kits.get(number=3)
    marked.animal = make_animal(cast.herd, "A30", born_on=litter.born_on)
    marked.save()
    litter.kits.filter(number=2).update(died_on=ago(1))
    page = cast.client_of("keeper").get(reverse("weigh-litter", args=[litter.pk]))
    assert [row.label for row in page.context["rows"]] == ["All together", "Kit 1", "A30"]
    data = {f"litter{litter.pk}-weight_lb": "2", f"animal{marked.animal.pk}-weight_oz": "14"}
    sheet(cast, reverse("weigh-litter", args=[litter.pk]), **data)
    assert Weight.objects.get(litter=litter).count == 2
    assert Weight.objects.get(animal=marked.animal).grams == 397


def row(cast, which, thing, who="keeper", **boxes):
    data = {f"{which}{thing.pk}-weight_{unit}": value for unit, value in boxes.items()}
    return cast.client_of(who).post(reverse("weigh-row", args=[which, thing.pk]), data, headers=HTMX)


def test_one_row_is_saved_as_it_is_left_and_answers_with_itself(cast):
    make_weight(cast.sire, 4000, on=ago(30))
    answer = row(cast, "animal", cast.sire, lb="9", oz="3")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert page.lstrip().startswith("<li")
    assert "9 lb 3 oz saved" in page
    assert "8 lb 13 oz on" in page
    row(cast, "animal", cast.sire, lb="9", oz="4")
    assert Weight.objects.get(on=ago(0)).grams == 4196


def test_a_bad_row_says_why_and_keeps_what_was_typed(cast):
    answer = row(cast, "animal", cast.sire, lb="9", oz="20")
    assert answer.status_code == 422
    assert "A pound has 16 ounces" in answer.content.decode()
    assert 'value="20"' in answer.content.decode()
    assert not Weight.objects.exists()


def test_an_empty_row_saves_nothing(cast):
    assert row(cast, "animal", cast.sire, lb="", oz="").status_code == 200
    assert not Weight.objects.exists()


# The gain worked by hand: 3900 g, after 30 days 4200 g (+10 g a day), after 20 more 4150 g (-2.5 g a day).


def test_the_history_gives_the_gain_per_day(cast):
    for grams, days in ((4150, 0), (3900, 50), (4200, 20)):
        make_weight(cast.sire, grams, on=ago(days))
    rows = weighings(Weight.objects.all(), cast.sire.born_on)
    assert [(each.grams, each.days, each.gain) for each in rows] == [
        (4150, 20, -2.5),
        (4200, 30, 10),
        (3900, None, None),
    ]
    page = cast.client_of("keeper").get(reverse("weight-list", args=[cast.sire.pk])).content.decode()
    assert "-0.1 oz a day" in page


def test_a_marked_kits_weights_go_on_with_its_animal(cast, litter):
    kit = litter.kits.first()
    Weight.objects.create(herd=cast.herd, kit=kit, grams=300, on=ago(2))
    kit.animal = make_animal(cast.herd, "A30", born_on=litter.born_on)
    kit.save()
    make_weight(kit.animal, 360, on=ago(0))
    rows = weighings(weights_of_animal(kit.animal, Weight.objects.all()), litter.born_on)
    assert [(each.grams, each.gain) for each in rows] == [(360, 30), (300, None)]


def test_a_litter_with_fewer_kits_on_the_scale_has_no_gain(cast, litter):
    for grams, count, days in ((900, 3, 14), (1260, 3, 7), (1100, 2, 0)):
        Weight.objects.create(herd=cast.herd, litter=litter, grams=grams, count=count, on=ago(days))
    rows = litter_weighings(litter, Weight.objects.all())
    assert [each.gain for each in rows] == [None, pytest.approx(360 / 7), None]
    assert [each.mean for each in rows] == [550, 420, 300]


def test_no_weights_and_one_weight_have_no_gain():
    assert weighings([]) == []
    (only,) = weighings([Weight(grams=4000, on=date(2026, 5, 1), pk=1)])
    assert (only.gain, only.age_days) == (None, None)


def test_removing_a_weight_asks_first(cast):
    weight = make_weight(cast.sire, 4000)
    client, url = cast.client_of("keeper"), reverse("weight-delete", args=[weight.pk])
    assert "This cannot be undone." in client.get(url).content.decode()
    assert client.post(url).status_code == 302
    assert not Weight.objects.exists()


KEEPERS = ("keeper", "co_owner")


@pytest.mark.parametrize("who", PEOPLE)
def test_only_those_who_keep_the_herd_weigh_and_read_weights(cast, litter, who):
    weight = make_weight(cast.sire, 4000)
    client = cast.client_of(who)
    expected = 200 if who in KEEPERS else 302 if who == "visitor" else 404
    assert client.get(reverse("weight-list", args=[cast.sire.pk])).status_code == expected
    assert client.get(reverse("weight-delete", args=[weight.pk])).status_code == expected
    assert client.get(reverse("weight-create"), {"animal": cast.sire.pk}).status_code == expected
    assert client.get(reverse("weight-create"), {"litter": litter.pk}).status_code == expected
    assert client.get(reverse("weigh-herd", args=[cast.herd.slug])).status_code == expected
    assert client.get(reverse("weigh-litter", args=[litter.pk])).status_code == expected
    assert row(cast, "animal", cast.dam, who=who, lb="9", oz="").status_code == expected
    card = client.get(cast.sire.get_absolute_url()).content.decode()
    assert ("8 lb 13 oz" in card) == (who in KEEPERS)


def test_weights_of_a_herd_that_shares_them_are_read_by_members(cast):
    make_weight(cast.sire, 4000)
    cast.herd.shares_weights = True
    cast.herd.save()
    client = cast.client_of("fellow")
    page = client.get(reverse("weight-list", args=[cast.sire.pk]))
    assert page.status_code == 200
    assert "Remove" not in page.content.decode()
    assert client.get(reverse("weight-create"), {"animal": cast.sire.pk}).status_code == 404
    assert client.get(reverse("weight-list", args=[cast.dam.pk])).status_code == 404


def test_weights_from_an_earlier_herd_stay_with_it(cast):
    make_weight(cast.sire, 4000, on=ago(30))
    cast.sire.herd = cast.other_herd
    cast.sire.save()
    make_weight(cast.sire, 4200, on=ago(1))
    page = cast.client_of("fellow").get(reverse("weight-list", args=[cast.sire.pk])).content.decode()
    assert "9 lb 4.25 oz" in page
    assert "8 lb 13 oz" not in page


@pytest.mark.parametrize("query", ["", "animal=x", "animal=99999999999999999999", "herd=1", "kit=0"])
def test_a_weighing_of_nothing_is_not_there(cast, query):
    assert cast.client_of("keeper").get(f"{reverse('weight-create')}?{query}").status_code == 404


def test_the_weigh_screen_costs_the_same_for_many(cast, django_assert_num_queries):
    client, url = cast.client_of("keeper"), reverse("weigh-herd", args=[cast.herd.slug])
    client.get(url)
    for count in (0, 30):
        for number in range(count):
            make_weight(make_animal(cast.herd, f"W{number}"), 4000, on=ago(3))
        with django_assert_num_queries(6):
            client.get(url)


def test_an_animal_outside_the_barn_is_not_weighed(cast):
    with pytest.raises(ValidationError):
        record_weight(animal=make_animal(None, "X1"), grams=4000, by=cast.keeper)
