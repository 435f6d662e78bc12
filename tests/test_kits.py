"""Kits: white at birth for a whole litter by thumb, sex, losses, fostering, and tattoo day."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from herds.actions.kits import mark_kits, next_marks, record_white, settle_white
from herds.models import Animal, Kit, Litter, Mark, WhitePlace

from .cast import PEOPLE
from .factories import make_animal, make_litter

HTMX = {"HX-Request": "true"}


def ago(days):
    return timezone.localdate() - timedelta(days=days)


def said(answer):
    return {name: list(errors) for name, errors in answer.context["form"].errors.items()}


@pytest.fixture
def doe(cast):
    return make_animal(cast.herd, "A9", sex="doe", name="Hazel")


@pytest.fixture
def litter(cast, doe):
    """Four kits, one day old."""
    return make_litter(doe, cast.sire, kits=4, born_on=ago(1))


def white(litter):
    return [kit.white_at for kit in litter.kits.all()]


def touch(cast, kit, sheet, value, who="keeper"):
    """One touch on a kit's chip, as htmx sends it."""
    client = cast.client_of(who)
    return client.post(reverse("kit-save", args=[kit.pk, sheet]), {f"{sheet}-{kit.pk}": value}, headers=HTMX)


def test_white_is_saved_as_it_is_touched(cast, litter):
    kit = litter.kits.first()
    answer = touch(cast, kit, "white", ["head", "feet"])
    assert answer.status_code == 200
    assert "Saved" in answer.content.decode()
    kit.refresh_from_db()
    assert kit.white_at == ["head", "feet"]
    assert kit.white_seen_on == timezone.localdate()


def test_a_touch_on_none_seen_takes_the_places_away_and_a_place_takes_none_seen_away(cast, litter):
    kit = litter.kits.first()
    touch(cast, kit, "white", ["head"])
    touch(cast, kit, "white", ["head", "none"])
    assert white(litter)[0] == ["none"]
    touch(cast, kit, "white", ["none", "nose"])
    assert white(litter)[0] == ["nose"]


def test_untouching_everything_is_not_looked_again(cast, litter):
    kit = litter.kits.first()
    touch(cast, kit, "white", ["head"])
    touch(cast, kit, "white", [])
    kit.refresh_from_db()
    assert (kit.white_at, kit.white_seen_on) == ([], None)


@pytest.mark.parametrize(
    ("before", "now", "settled"),
    [
        ([], ["none"], ["none"]),
        (["head"], ["head", "none"], ["none"]),
        (["none"], ["none", "head"], ["head"]),
        (["none"], [], []),
        (["head"], ["head", "feet"], ["head", "feet"]),
    ],
)
def test_none_seen_stands_alone(before, now, settled):
    assert settle_white(before, now) == settled


def test_none_seen_for_the_whole_rest_at_one_touch(cast, litter):
    touch(cast, litter.kits.first(), "white", ["head"])
    litter.kits.filter(number=4).update(died_on=ago(0))
    cast.client_of("keeper").post(reverse("kit-none-seen", args=[litter.pk]))
    assert white(litter) == [["head"], ["none"], ["none"], []]


def test_the_sheet_works_without_script_and_refuses_a_contradiction_keeping_what_was_ticked(cast, litter):
    client, url = cast.client_of("keeper"), reverse("kit-list", args=[litter.pk, "white"])
    first, second, *_ = litter.kits.all()
    answer = client.post(url, {f"white-{first.pk}": ["none", "head"], f"white-{second.pk}": ["tail"]})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Kit 1: &#x27;none seen&#x27; cannot stand beside a place. Untick one of them." in page
    assert white(litter) == [[], [], [], []]
    ticked = answer.context["rows"][0]["options"]
    assert [value for value, _, on in ticked if on] == ["none", "head"]
    assert client.post(url, {f"white-{second.pk}": ["tail"]}).status_code == 302
    assert white(litter) == [[], ["tail"], [], []]


def test_a_place_that_is_no_place_is_refused(cast, litter):
    kit = litter.kits.first()
    answer = touch(cast, kit, "white", ["moon"])
    assert answer.status_code == 422
    assert "“moon” is not a place of the list." in answer.content.decode()
    with pytest.raises(ValidationError):
        record_white(kit=kit, places=["moon"], by=cast.keeper)


def test_the_sex_of_a_kit_may_be_unknown_and_is_corrected_later(cast, litter):
    kit = litter.kits.first()
    for sex in ("doe", "unknown", "buck"):
        assert touch(cast, kit, "sex", sex).status_code == 200
        kit.refresh_from_db()
        assert kit.sex == sex
    assert touch(cast, kit, "sex", "both").status_code == 422


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        (ago(-1).isoformat(), "lies in the future"),
        (ago(9).isoformat(), "Kit 1 was born on"),
        ("2026-02-30", "is no day of the calendar"),
        ("soon", "“soon” is no day of the calendar"),
    ],
)
def test_an_impossible_day_of_death_is_refused_in_the_row(cast, litter, day, sentence):
    answer = touch(cast, litter.kits.first(), "losses", day)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert day in answer.content.decode()
    assert not litter.kits.filter(died_on__isnull=False).exists()


def test_a_death_is_noted_and_taken_back(cast, litter):
    kit = litter.kits.first()
    touch(cast, kit, "losses", ago(0).isoformat())
    assert litter.kits.get(pk=kit.pk).died_on == ago(0)
    touch(cast, kit, "losses", "")
    assert litter.kits.get(pk=kit.pk).died_on is None


@pytest.mark.parametrize("sheet", ["white", "sex", "losses"])
@pytest.mark.parametrize("who", PEOPLE)
def test_only_those_who_keep_the_herd_fill_in_the_sheets(cast, litter, who, sheet):
    expected = {"keeper": 200, "co_owner": 200, "visitor": 302}.get(who, 404)
    client = cast.client_of(who)
    assert client.get(reverse("kit-list", args=[litter.pk, sheet])).status_code == expected
    value = {"white": "head", "sex": "doe", "losses": ago(0).isoformat()}[sheet]
    assert touch(cast, litter.kits.first(), sheet, value, who=who).status_code == expected
    changed = litter.kits.exclude(white_at=[], sex="unknown", died_on__isnull=True)
    assert changed.exists() == (who in ("keeper", "co_owner"))


def test_a_sheet_that_is_none_is_not_there(cast, litter):
    assert cast.client_of("keeper").get(reverse("kit-list", args=[litter.pk, "teeth"])).status_code == 404


def foster(cast, litter, **data):
    return cast.client_of("keeper").post(reverse("kit-foster", args=[litter.pk]), {"on": ago(0)} | data)


@pytest.fixture
def nest(cast):
    """The foster litter: another doe's, of the same day."""
    return make_litter(cast.dam, cast.sire, kits=2, born_on=ago(1))


def test_a_fostered_kit_grows_up_elsewhere_and_keeps_its_birth_dam(cast, litter, nest):
    kit = litter.kits.get(number=3)
    assert foster(cast, litter, kits=[kit.pk], to=nest.pk).status_code == 302
    kit.refresh_from_db()
    assert (kit.fostered_to, kit.fostered_on, kit.litter.dam) == (nest, ago(0), litter.dam)
    client = cast.client_of("keeper")
    there = client.get(nest.get_absolute_url()).content.decode()
    assert "Fostered into this nest" in there
    assert "3 in the nest now" in there
    here = client.get(litter.get_absolute_url()).content.decode()
    assert "fostered to A2 Birch" in here
    assert "3 in the nest now" in here


def test_a_kit_is_brought_back(cast, litter, nest):
    kit = litter.kits.get(number=3)
    foster(cast, litter, kits=[kit.pk], to=nest.pk)
    cast.client_of("keeper").post(reverse("kit-bring-back", args=[kit.pk]))
    kit.refresh_from_db()
    assert (kit.fostered_to, kit.fostered_on) == (None, None)


# From memory, no source: fostering within 3 days of birth, into a litter of an age within 3 days.
@pytest.mark.parametrize(
    ("age", "nest_age", "codes"),
    [(3, 3, []), (3, 0, []), (4, 4, ["late"]), (3, 7, ["ages-apart"]), (5, 9, ["late", "ages-apart"])],
)
def test_late_fostering_and_ages_apart_are_asked_about_and_may_go_on(cast, doe, age, nest_age, codes):
    litter = make_litter(doe, cast.sire, kits=2, born_on=ago(age))
    nest = make_litter(cast.dam, cast.sire, kits=2, born_on=ago(nest_age))
    answer = foster(cast, litter, kits=[litter.kits.first().pk], to=nest.pk)
    assert answer.status_code == (422 if codes else 302)
    if codes:
        form = answer.context["form"]
        assert [caution.code for caution in form.cautions] == codes
        assert not Kit.objects.filter(fostered_to__isnull=False).exists()
        data = {"kits": [litter.kits.first().pk], "to": nest.pk, "confirmed": form.token}
        assert foster(cast, litter, **data).status_code == 302


@pytest.mark.parametrize(
    ("data", "field", "sentence"),
    [
        ({"kits": []}, "kits", "No kit is chosen. Choose at least one."),
        ({"to": ""}, "to", "Choose the litter that takes them."),
        ({"on": ago(-1)}, "on", "lies in the future"),
        ({"on": ago(2)}, "on", "was born on"),
        ({"on": ""}, "on", "Choose the day."),
    ],
)
def test_bad_fostering_is_refused_by_the_field(cast, litter, nest, data, field, sentence):
    answer = foster(cast, litter, **{"kits": [litter.kits.first().pk], "to": nest.pk} | data)
    assert answer.status_code == 422
    assert sentence in said(answer)[field][0]
    assert not Kit.objects.filter(fostered_to__isnull=False).exists()


def test_kits_go_only_to_ones_own_litters_and_not_to_their_own(cast, litter, nest):
    theirs = make_litter(make_animal(cast.other_herd, "M4", sex="doe"), cast.other_buck, kits=2, born_on=ago(1))
    for other in (theirs, litter):
        answer = foster(cast, litter, kits=[litter.kits.first().pk], to=other.pk)
        assert said(answer)["to"] == ["Choose a litter of the list."]


def test_with_no_litter_near_in_age_the_page_says_so(cast, litter):
    page = cast.client_of("keeper").get(reverse("kit-foster", args=[litter.pk])).content.decode()
    assert "No nest to take them" in page


def tattoo(cast, litter, marks, **more):
    """Tattoo day; marks: {kit number: mark} or {kit number: (mark, sex, name)}."""
    data = {"on": ago(0)} | more
    for kit in litter.kits.filter(animal__isnull=True, died_on__isnull=True):
        given = marks.get(kit.number, ("", "unknown", ""))
        mark, sex, name = given if isinstance(given, tuple) else (given, "unknown", "")
        data |= {f"kit{kit.number}-mark": mark, f"kit{kit.number}-sex": sex, f"kit{kit.number}-name": name}
    return cast.client_of("keeper").post(reverse("kit-mark", args=[litter.pk]), data)


def row_errors(answer):
    return {row.kit.number: row.errors["mark"][0] for row in answer.context["rows"] if row.errors}


def test_marking_makes_animals_that_carry_everything_known(cast, litter):
    record_white(kit=litter.kits.get(number=1), places=[WhitePlace.HEAD], by=cast.keeper)
    assert tattoo(cast, litter, {1: ("A21", "buck", "Ash"), 3: ("A22", "doe", "")}).status_code == 302
    animal = Animal.objects.get(mark_text="A21")
    assert (animal.sex, animal.name, animal.born_on, animal.status) == ("buck", "Ash", litter.born_on, "here")
    assert (animal.sire, animal.dam, animal.litter) == (cast.sire, litter.dam, litter)
    assert (animal.herd, animal.bred_in, animal.breed) == (cast.herd, cast.herd, litter.dam.breed)
    assert animal.kit.white_at == ["head"]
    mark = animal.marks.get()
    assert (mark.kind, mark.issued_by, mark.issued_on) == ("left_ear", cast.herd, ago(0))
    assert [kit.animal_id is None for kit in litter.kits.all()] == [False, True, False, True]


def test_a_fostered_kit_is_marked_as_its_birth_dams(cast, litter, nest):
    kit = litter.kits.get(number=2)
    foster(cast, litter, kits=[kit.pk], to=nest.pk)
    tattoo(cast, litter, {2: "A30"})
    animal = Animal.objects.get(mark_text="A30")
    assert (animal.dam, animal.litter) == (litter.dam, litter)


def test_the_next_numbers_are_proposed_in_a_row(cast, litter):
    Mark.objects.create(animal=make_animal(cast.herd, False), text="A098", issued_by=cast.herd)
    Mark.objects.create(animal=make_animal(cast.herd, False), text="A100", issued_by=cast.herd)
    assert next_marks(cast.herd, 3, "A98") == ["A98", "A99", "A101"]
    page = cast.client_of("keeper").get(reverse("kit-mark", args=[litter.pk]))
    assert [row["mark"].value() for row in page.context["rows"]] == ["A101", "A102", "A103", "A104"]
    page = cast.client_of("keeper").get(reverse("kit-mark", args=[litter.pk]), {"start": "K07"})
    assert [row["mark"].value() for row in page.context["rows"]] == ["K07", "K08", "K09", "K10"]


def test_proposed_numbers_leave_out_those_in_use_and_keep_their_zeros(cast):
    make_animal(cast.herd, "S-03")
    assert next_marks(cast.herd, 3, "S02") == ["S02", "S04", "S05"]
    assert next_marks(cast.other_herd, 2, "") == ["M2", "M3"]
    assert next_marks(cast.herd, 2, "KIT") == ["KIT", ""]


def test_a_herd_without_marks_begins_at_one(cast):
    Mark.objects.filter(issued_by=cast.other_herd).delete()
    assert next_marks(cast.other_herd, 2) == ["1", "2"]


def test_refused_rows_say_why_and_nothing_is_half_saved(cast, litter):
    before = Animal.objects.count()
    answer = tattoo(cast, litter, {1: "A21", 2: "a-2", 3: "A33", 4: "a 33"})
    assert answer.status_code == 422
    errors = row_errors(answer)
    assert errors[2] == "a-2 is already in the left ear of A2 Birch, bred in Ashgrove. Choose another number."
    assert errors[3] == "A33 is given to kit 3 and kit 4. Each kit needs a mark of its own."
    assert 1 not in errors
    assert Animal.objects.count() == before
    assert not litter.kits.filter(animal__isnull=False).exists()
    assert [row["mark"].value() for row in answer.context["rows"]] == ["A21", "a-2", "A33", "a 33"]


def test_the_same_mark_in_another_breeders_herd_is_no_matter(cast, litter):
    assert tattoo(cast, litter, {1: "M1"}).status_code == 302


@pytest.mark.parametrize(
    ("marks", "more", "field", "sentence"),
    [
        ({}, {}, "__all__", "No kit has a mark yet. Type at least one."),
        ({1: "A21"}, {"on": ago(-1)}, "on", "lies in the future"),
        ({1: "A21"}, {"on": ago(5)}, "on", "was born on"),
        ({1: "A21"}, {"on": "x"}, "on", "There is no such day."),
    ],
)
def test_a_bad_tattoo_day_is_refused(cast, litter, marks, more, field, sentence):
    answer = tattoo(cast, litter, marks, **more)
    assert answer.status_code == 422
    assert sentence in said(answer)[field][0]
    assert not litter.kits.filter(animal__isnull=False).exists()


def test_a_dead_or_marked_kit_is_not_marked_again(cast, litter):
    tattoo(cast, litter, {1: "A21"})
    first, second, *_ = litter.kits.all()
    second.died_on = ago(0)
    rows = [{"kit": kit, "mark": f"A5{kit.number}", "sex": "doe", "name": ""} for kit in (first, second)]
    with pytest.raises(ValidationError) as refusal:
        mark_kits(litter=litter, rows=rows, on=ago(0), by=cast.keeper)
    assert "Kit 1 is marked already: it is A21." in refusal.value.message_dict["1"][0]
    assert "Kit 2 died on" in refusal.value.message_dict["2"][0]


def test_a_stale_row_cannot_make_two_animals_of_one_kit(cast, litter):
    stale = litter.kits.get(number=1)
    tattoo(cast, litter, {1: "A21"})
    with pytest.raises(ValidationError, match="Somebody marked these kits a moment ago"):
        mark_kits(
            litter=litter, rows=[{"kit": stale, "mark": "A60", "sex": "doe", "name": ""}], on=ago(0), by=cast.keeper
        )
    assert Animal.objects.filter(litter=litter).count() == 1


def test_a_marked_kits_sex_and_death_belong_to_its_animal(cast, litter):
    tattoo(cast, litter, {1: "A21"})
    kit = litter.kits.get(number=1)
    answer = touch(cast, kit, "sex", "doe")
    assert answer.status_code == 422
    assert "Kit 1 is A21 now. Change the sex on that animal&#x27;s page." in answer.content.decode()
    assert touch(cast, kit, "losses", ago(0).isoformat()).status_code == 422


@pytest.mark.parametrize("who", PEOPLE)
def test_only_those_who_keep_the_herd_foster_and_mark(cast, litter, nest, who):
    expected = {"keeper": 200, "co_owner": 200, "visitor": 302}.get(who, 404)
    client = cast.client_of(who)
    for name in ("kit-foster", "kit-mark"):
        assert client.get(reverse(name, args=[litter.pk])).status_code == expected, name
    moved = litter.kits.first()
    Kit.objects.filter(pk=moved.pk).update(fostered_to=nest, fostered_on=ago(0))
    answer = client.post(reverse("kit-bring-back", args=[moved.pk]))
    assert answer.status_code == (302 if expected in (200, 302) else 404)
    moved.refresh_from_db()
    assert (moved.fostered_to is None) == (who in ("keeper", "co_owner"))
    assert client.post(reverse("kit-none-seen", args=[litter.pk])).status_code == (302 if expected != 404 else 404)


def test_the_sheet_costs_the_same_for_one_kit_and_for_many(cast, litter, doe, django_assert_num_queries):
    large = make_litter(cast.dam, cast.sire, kits=12, born_on=ago(1))
    client = cast.client_of("keeper")
    client.get(reverse("kit-list", args=[litter.pk, "white"]))
    for one in (litter, large):
        with django_assert_num_queries(5):
            client.get(reverse("kit-list", args=[one.pk, "white"]))
    assert Litter.objects.count() == 2
