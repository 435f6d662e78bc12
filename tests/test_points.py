"""The points sheet in the database and on its pages: what is kept, what is refused, who reads it, and what it costs."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import Club
from grading.actions import looks as look_actions
from grading.actions.points import save_points
from grading.models import (
    Basis,
    BreedProfile,
    FindingKind,
    PointsLine,
    PointsSheet,
    Trait,
)
from herds.models import Breed, Grant

from .cast import PEOPLE
from .factories import make_animal, make_look, make_points, make_profile
from .looking import HTMX, begin, day_passes, text_of

pytestmark = pytest.mark.django_db

ALL_OF_COMMERCIAL = {
    "hindquarters": 18, "midsection": 13, "shoulders": 12, "head_ears": 4, "color": 16, "fur": 13, "condition": 9,
}  # fmt: skip


@pytest.fixture
def look(cast):
    return begin(cast)


@pytest.fixture
def keeper(cast):
    Club.current()  # made on a club's first page, and then there
    return cast.client_of("keeper")


@pytest.fixture
def central(cast):
    """An open look of the keeper's by the Central European schedule, at 4.21 kg."""
    breed = Breed.objects.get(slug="central-european-silvered")
    animal = make_animal(cast.herd, "C1", sex="doe", breed=breed, name="Sedge")
    look = begin(cast, animal=animal)
    look_actions.save_facts(look=look, by=cast.keeper, grams=4210)
    return look


def give(client, look, code, points, **more):
    """One touch on a position, as the screen sends it."""
    url = reverse("look-points-given", args=[look.pk]) + f"?position={code}"
    return client.post(url, {f"points--{code}": points, **more}, **HTMX)


def given_in(look):
    return {line.position.code: line.points for line in PointsLine.objects.filter(sheet=look.pk)}


def answer(look, code, step, site=""):
    look_actions.save_answers(look=look, answers=[(Trait.objects.get(code=code), site, step)], by=look.observer)


def place_of(look, code):
    return look.profile.positions.get(code=code).pk


def find(look, code):
    look_actions.save_finding(look=look, kind=FindingKind.objects.get(code=code), state="seen", by=look.observer)


# --- giving points


def test_every_field_starts_empty_however_much_was_described(keeper, look):
    for code in ("surface_shade", "guard_hair_jetness", "hindquarter_fill", "coat_density", "condition"):
        answer(look, code, 8)
    response = keeper.get(reverse("look-points", args=[look.pk]))
    assert [field["value"] for field in response.context["fields"]] == [""] * 8
    assert not PointsSheet.objects.exists(), "reading the page begins no sheet"


def test_a_touch_is_saved_and_answered_with_the_running_total(keeper, look):
    part = text_of(give(keeper, look, "color", "16"))
    assert "Saved" in part
    assert "16 of 20 so far" in part
    part = text_of(give(keeper, look, "fur", "13"))
    assert "29 of 35 so far" in part
    assert given_in(look) == {"color": 16, "fur": 13}


def test_a_part_is_answered_with_the_sum_of_its_position(keeper, look):
    give(keeper, look, "hindquarters", "18")
    part = text_of(give(keeper, look, "head_ears", "4"))
    assert "18 + ? + ? + 4 = <b>22</b> of 55" in part
    assert 'id="said-general_type" hx-swap-oob="true"' in part


def test_the_whole_sheet_is_saved_without_script(keeper, look):
    sent = {f"points--{code}": str(points) for code, points in ALL_OF_COMMERCIAL.items()}
    response = keeper.post(
        reverse("look-points", args=[look.pk]), {**sent, "note": "Judged outdoors.", "then": "finish"}
    )
    assert response.url == reverse("look-detail", args=[look.pk])
    assert given_in(look) == ALL_OF_COMMERCIAL
    look.refresh_from_db()
    assert look.points_sheet.note == "Judged outdoors."
    assert look.finished_at is not None
    page = text_of(keeper.get(look.get_absolute_url()))
    assert "85 of 100" in page
    assert "18 + 13 + 12 + 4 = 47" in page
    assert "47 + 16 + 13 + 9 = 85" in page
    assert "Judged outdoors." in page


@pytest.mark.parametrize(("then", "leads_to"), [("look", "/section/5/"), ("done", "#points"), ("", "#points")])
def test_the_sheet_leads_back_to_the_look(keeper, look, then, leads_to):
    assert keeper.post(reverse("look-points", args=[look.pk]), {"then": then}).url.endswith(leads_to)


def test_the_last_screen_of_a_look_saves_it_and_leads_to_the_points(keeper, look):
    last = reverse("look-section", args=[look.pk, 5])
    assert "Add points" in text_of(keeper.get(last))
    response = keeper.post(last, {"then": "points", "note": "Calm."})
    assert response.url == reverse("look-points", args=[look.pk])
    look.refresh_from_db()
    assert look.note == "Calm."


def test_a_field_that_is_emptied_takes_its_points_back_and_an_empty_sheet_goes(keeper, look):
    give(keeper, look, "color", "16")
    give(keeper, look, "color", "")
    assert not PointsSheet.objects.exists()
    give(keeper, look, "color", "", **{"note--color": "Not judged in this light."})
    line = PointsLine.objects.get()
    assert (line.points, line.note) == (None, "Not judged in this light.")
    give(keeper, look, "color", "15")
    line.refresh_from_db()
    assert (line.points, line.note) == (15, "Not judged in this light."), "a field that is not sent stays"


def test_the_sheets_own_note_is_saved_as_it_is_written(keeper, look):
    url = reverse("look-points-given", args=[look.pk]) + "?position="
    assert "Saved" in text_of(keeper.post(url, {"note": "In a hurry.", "points--fur": "99"}, **HTMX))
    assert look.points_sheet.note == "In a hurry."
    assert given_in(look) == {}
    assert keeper.post(url, {"note": "n" * 2001}, **HTMX).status_code == 422
    look.points_sheet.refresh_from_db()
    assert look.points_sheet.note == "In a hurry."


def test_a_page_from_before_another_phones_points_takes_none_of_them_back(keeper, look):
    shown = keeper.get(reverse("look-points", args=[look.pk]))
    sent = {f"{was}{field['name']}": field["value"] for field in shown.context["fields"] for was in ("", "was--")}
    assert 'name="was--points--color" value=""' in text_of(shown)
    give(keeper, look, "color", "16", **{"note--color": "By the other phone."})
    keeper.post(reverse("look-points", args=[look.pk]), {**sent, "points--fur": "13", "note": "", "was--note": ""})
    assert given_in(look) == {"color": 16, "fur": 13}
    assert PointsLine.objects.get(position__code="color").note == "By the other phone."
    emptied = {"points--color": "", "was--points--color": "16"}
    keeper.post(reverse("look-points", args=[look.pk]), emptied)
    assert PointsLine.objects.get(position__code="color").points is None, "emptied on purpose"


def test_a_letter_that_no_database_keeps_is_left_out_of_a_note(keeper, look):
    give(keeper, look, "color", "16", **{"note--color": "Pale\x00 at the rump."})
    assert PointsLine.objects.get().note == "Pale at the rump."


@pytest.mark.parametrize(
    ("typed", "kept"), [("14,5", "14.5"), (" 14.50 ", "14.5"), ("14½", "14.5"), (".5", "0.5"), ("0", "0"), ("15", "15")]
)
def test_half_points_are_read_as_people_type_them(keeper, central, typed, kept):
    assert give(keeper, central, "undercolor", typed).status_code == 200
    assert given_in(central) == {"undercolor": Decimal(kept)}


BAD = [
    ("undercolor", "15.5", "Undercolor has 15 points; 15.5 is more."),
    ("undercolor", "-1", "cannot be read as points"),
    ("undercolor", "14.3", "Undercolor is given in half points. Give 0 to 15, in half points."),
    ("undercolor", "14.25", "half points"),
    ("undercolor", "a lot", "“a lot” cannot be read as points. Give 0 to 15, in half points."),
    ("undercolor", "1e1", "cannot be read"),
    ("undercolor", "NaN", "cannot be read"),
    ("undercolor", "١٤", "cannot be read"),
    ("undercolor", "14 of 15", "cannot be read"),
    ("undercolor", "9" * 400, "cannot be read"),
    ("undercolor", "\x00", "cannot be read"),
    ("weight", "10", "This schedule has no such position."),
    ("nothing", "10", "This schedule has no such position."),
]


@pytest.mark.parametrize(("code", "typed", "sentence"), BAD, ids=[f"{code}-{n}" for n, (code, *_) in enumerate(BAD)])
def test_what_cannot_be_points_is_refused_with_a_sentence_and_saves_nothing(keeper, central, code, typed, sentence):
    response = give(keeper, central, code, typed)
    assert response.status_code == 422
    assert sentence in text_of(response)
    assert not PointsLine.objects.exists()


def test_whole_points_are_whole(keeper, look):
    response = give(keeper, look, "color", "15.5")
    assert "Color is given in whole points. Give 0 to 20, in whole points." in text_of(response)
    assert not PointsLine.objects.exists()


def test_one_wrong_field_saves_nothing_of_the_sheet_and_loses_nothing_that_was_typed(keeper, look):
    sent = {"points--color": "16", "points--fur": "fine", "note--fur": "n" * 201, "note": "In the yard."}
    response = keeper.post(reverse("look-points", args=[look.pk]), sent)
    page = text_of(response)
    assert response.status_code == 422
    assert not PointsSheet.objects.exists()
    assert "Nothing of this sheet was saved." in page
    assert "Fur: “fine” cannot be read as points." in page
    assert "The note about fur has 201 letters; 200 are the most." in page
    assert all(word in page for word in ('value="16"', 'value="fine"', "In the yard."))


# --- the weight


@pytest.mark.parametrize(
    ("grams", "words"),
    [
        # B: a breed page, read second-hand.
        (3499, "outside"), (3500, "has 5 points"), (4500, "has 10 points"), (5250, "has 10 points"),
        (5251, "has 9 points"), (5260, "has 9 points"), (5500, "has 9 points"), (5501, "outside"), (5510, "outside"),
    ],
)  # fmt: skip
def test_the_points_for_weight_come_from_the_table(cast, keeper, central, grams, words):
    look_actions.save_facts(look=central, by=cast.keeper, grams=grams)
    page = keeper.get(reverse("look-points", args=[central.pk]))
    assert words in page.context["points"].weight_words
    assert words in text_of(page)
    judged = "outside" not in words
    assert bool(page.context["points"].not_judged) is not judged
    assert "points--weight" not in text_of(page), "nobody types them"


def test_a_weight_outside_the_table_leaves_the_lines_and_says_not_judged(cast, keeper, central):
    look_actions.save_facts(look=central, by=cast.keeper, grams=3400)
    save_points(look=central, by=cast.keeper, lines=[(place_of(central, "type"), Decimal("18.5"), "")])
    cast.keeper.weight_unit = "kg"
    cast.keeper.save()
    page = text_of(keeper.get(central.get_absolute_url()))
    assert "Not judged" in page
    assert "Because: Its weight of 3.40 kg lies outside the weight table, 3.50 kg to 5.50 kg" in page
    assert "The lines add up to" in page
    assert "18.5" in page
    assert text_of(keeper.get(reverse("look-points", args=[central.pk]))).count("Not judged") == 1


def test_without_a_weight_the_position_stays_open(cast, keeper, central):
    look_actions.save_facts(look=central, by=cast.keeper, grams=None)
    points = keeper.get(reverse("look-points", args=[central.pk])).context["points"]
    assert points.row("weight").line.is_open
    assert points.weight_words.startswith("Not weighed yet.")
    assert not points.not_judged


def test_who_may_not_read_the_weight_reads_its_points_only(cast, central):
    make_points(central, type=18)
    look_actions.finish_look(look=central, by=cast.keeper)
    page = text_of(cast.client_of("mentor").get(central.get_absolute_url()))
    assert "Its weight has 8 points in the weight table." in page
    assert "9 lb" not in page


# --- not judged, floors and questions on the page


def test_a_finding_that_disqualifies_stands_before_the_total_and_the_lines_stay(keeper, look):
    make_points(look, **ALL_OF_COMMERCIAL)
    find(look, "white_spot")
    page = text_of(keeper.get(look.get_absolute_url()))
    assert "Because: White spot: this disqualifies in the schedule." in page
    assert "White spot: seen, disqualifies" in page, "beside the position that it belongs to"
    assert "lines add up to 85 of 100" in page


def test_points_under_a_floor_are_kept_and_named(keeper, central):
    part = text_of(give(keeper, central, "silvering", "10.5"))
    assert "Under the floor of 11: the schedule does not place it." in part
    assert given_in(central) == {"silvering": Decimal("10.5")}
    assert "Under the floor" not in text_of(give(keeper, central, "silvering", "11"))


def test_a_washed_out_base_and_full_points_for_undercolor_raise_a_question_and_change_nothing(keeper, central):
    answer(central, "undercolor", 8, "loin")
    answer(central, "undercolor_reach", 4, "rump")
    part = text_of(give(keeper, central, "undercolor", "15"))
    assert (
        "the description lies outside the goal: undercolor reach at the rump 4, goal 7 to 10. Are both meant?" in part
    )
    assert given_in(central) == {"undercolor": 15}
    assert "Are both meant?" not in text_of(give(keeper, central, "undercolor", "12"))


def test_the_senior_leeway_keeps_a_question_away(cast, keeper, central):
    answer(central, "undercolor_reach", 7, "rump")
    assert central.age_class.code == "senior"
    assert "Are both meant?" not in text_of(give(keeper, central, "undercolor", "15"))


@pytest.mark.parametrize(("stage", "asks"), [("adult_molt", True), ("prime", False), ("", False)])
def test_full_points_for_fur_in_a_molt_are_asked(cast, keeper, look, stage, asks):
    look_actions.save_facts(look=look, by=cast.keeper, coat_stage=stage)
    assert ("yet the coat is in adult molt" in text_of(give(keeper, look, "fur", "15"))) is asks


def test_colour_that_follows_the_type_is_asked_once_in_the_sum(keeper, look):
    answer(look, "surface_shade", 3)
    make_points(look, hindquarters=20, midsection=15, shoulders=15, head_ears=5)
    assert text_of(give(keeper, look, "color", "19")).count("Type has nearly all its points and color follows it") == 1
    assert "Type has nearly all" not in text_of(give(keeper, look, "color", "12"))


def test_the_shipped_schedules_put_every_trait_behind_a_position():
    for profile in BreedProfile.objects.filter(association__startswith="Unofficial"):
        behind = set(
            Basis.objects.filter(position__profile=profile, trait__isnull=False).values_list("trait", flat=True)
        )
        assert behind == set(profile.traits.values_list("trait", flat=True)), profile


# --- the day, superseding, and who may


@pytest.fixture
def after_its_day(cast):
    look = make_look(cast.daughter, cast.keeper)
    make_points(look, note="Before supper.", **ALL_OF_COMMERCIAL)
    day_passes(look)
    return look


def test_after_its_day_a_sheet_stays_as_it_is(cast, keeper, after_its_day):
    look, place = after_its_day, place_of(after_its_day, "color")
    assert give(keeper, look, "color", "20").status_code == 409
    assert keeper.post(reverse("look-points", args=[look.pk]), {"points--color": "20"}).status_code == 409
    assert keeper.get(reverse("look-points", args=[look.pk])).url == look.get_absolute_url()
    for lines in ([(place, Decimal(20), "")], [(place, None, "")]):
        with pytest.raises(ValidationError, match="The day of this look is over"):
            save_points(look=look, by=cast.keeper, lines=lines)
    with pytest.raises(ValidationError, match="The day of this look is over"):
        save_points(look=look, by=cast.keeper, note="After supper.")
    for rows in (PointsLine.objects.filter(sheet=look.pk), PointsSheet.objects.filter(look=look)):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.delete()
    assert given_in(look) == ALL_OF_COMMERCIAL


def test_the_sheet_of_a_superseded_look_stays_readable_and_the_new_look_starts_empty(cast, keeper, after_its_day):
    later = look_actions.supersede_look(
        look=after_its_day, reason="Steps mixed up.", by=cast.keeper, mode="in_hand", light="overcast"
    )
    fields = keeper.get(reverse("look-points", args=[later.pk])).context["fields"]
    assert {field["value"] for field in fields} == {""}
    make_points(later, color=12)
    look_actions.finish_look(look=later, by=cast.keeper)
    page = text_of(keeper.get(after_its_day.get_absolute_url()))
    assert "85 of 100" in page
    assert "superseded by" in page
    listed = text_of(keeper.get(reverse("look-list", args=[cast.daughter.pk])))
    assert "85 of 100" in listed
    assert "12 of 20 so far" in listed


@pytest.mark.parametrize("who", PEOPLE)
def test_only_its_observer_gives_points_in_a_look(cast, who):
    look = begin(cast)
    client = cast.client_of(who)
    expected = {"keeper": 200, "visitor": 302}.get(who, 404)
    assert client.get(reverse("look-points", args=[look.pk])).status_code == expected
    assert give(client, look, "color", "16").status_code == expected
    assert PointsLine.objects.exists() is (who == "keeper")


@pytest.mark.parametrize("shares", [False, True])
@pytest.mark.parametrize("who", PEOPLE)
def test_points_are_read_where_their_look_is_read(cast, who, shares):
    cast.herd.shares_looks = shares
    cast.herd.save()
    make_points(make_look(cast.daughter, cast.keeper), note="Between us.", **ALL_OF_COMMERCIAL)
    client = cast.client_of(who)
    listed = client.get(reverse("look-list", args=[cast.daughter.pk]))
    page = client.get(reverse("look-detail", args=[PointsSheet.objects.get().pk]))
    in_the_herd = who in ("keeper", "co_owner", "mentor")
    reads = in_the_herd or (shares and who != "visitor")
    assert (page.status_code == 200) is reads
    assert ("85 of 100" in text_of(listed)) is reads
    if reads:
        assert "85 of 100" in text_of(page)
        assert ("Between us." in text_of(page)) is in_the_herd
        assert ("Change the points" in text_of(page)) is (who == "keeper")


def test_a_mentor_whose_grant_ends_meanwhile_saves_no_points(cast):
    look = begin(cast, by=cast.mentor)
    client = cast.client_of("mentor")
    assert give(client, look, "color", "16").status_code == 200
    Grant.objects.filter(mentor=cast.mentor).update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    response = give(client, look, "color", "18")
    assert response.status_code == 404
    assert "no longer open to you" in text_of(response)
    assert given_in(look) == {"color": 16}


def test_nobody_else_writes_points_by_the_action(cast, look):
    with pytest.raises(PermissionDenied):
        save_points(look=look, by=cast.co_owner, lines=[(place_of(look, "color"), Decimal(10), "")])


def test_a_look_from_photos_has_no_points(cast, keeper):
    look = begin(cast, mode="photo")
    assert "Add points" not in text_of(keeper.get(reverse("look-section", args=[look.pk, 5])))
    response = keeper.get(reverse("look-points", args=[look.pk]))
    assert response.status_code == 409
    assert "Points are given with the animal in hand." in text_of(response)
    with pytest.raises(ValidationError, match="with the animal in hand"):
        save_points(look=look, by=cast.keeper, note="From the photos.")
    look_actions.finish_look(look=look, by=cast.keeper)
    assert "Add points" not in text_of(keeper.get(look.get_absolute_url()))


def test_a_schedule_without_positions_says_so(cast, keeper):
    look = make_look(cast.daughter, cast.keeper, profile=make_profile(cast.daughter.breed), finished=False)
    response = keeper.get(reverse("look-points", args=[look.pk]))
    assert response.status_code == 409
    assert "has no positions" in text_of(response)


# --- the profile's page, and what pages cost


def test_the_profiles_page_shows_floors_steps_and_the_weight_table(keeper):
    profile = BreedProfile.objects.get(breed__slug="central-european-silvered")
    page = text_of(keeper.get(reverse("profile-detail", args=[profile.pk])))
    assert "Unofficial" in page
    assert "Points by weight" in page
    assert "half points" in page
    commercial = BreedProfile.objects.get(association="Unofficial example")
    assert "Points by weight" not in text_of(keeper.get(reverse("profile-detail", args=[commercial.pk])))


@pytest.mark.parametrize("number", [1, 20])
def test_the_list_of_looks_costs_the_same_however_many_have_points(cast, keeper, django_assert_num_queries, number):
    for back in range(number):
        make_points(
            make_look(cast.daughter, cast.grader, observed_on=timezone.localdate() - timedelta(days=back)), color=back
        )
    with django_assert_num_queries(12):
        keeper.get(reverse("look-list", args=[cast.daughter.pk]))


@pytest.mark.parametrize("given", [{"color": 16}, ALL_OF_COMMERCIAL])
def test_the_points_page_and_a_touch_cost_the_same_empty_or_full(cast, keeper, django_assert_num_queries, given):
    look = begin(cast)
    make_points(look, **given)
    with django_assert_num_queries(15):
        keeper.get(reverse("look-points", args=[look.pk]))
    with django_assert_num_queries(19):
        give(keeper, look, "color", "17")
