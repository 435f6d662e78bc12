"""The officer's editor of a draft: copying an edition, its head, its points and positions."""

import pytest
from django.urls import reverse

from grading.models import BreedProfile, StepText
from grading.profiles.documents import document_of

from .edition_making import difference_words, fields_of, make_draft, plain, shipped, url

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(cast):
    return cast.client_of("officer")


@pytest.fixture
def draft(cast):
    return make_draft(cast.officer)


def test_a_copy_has_everything_and_is_a_draft_that_members_do_not_see(cast, officer):
    source = shipped()
    page = officer.get(reverse("profile-copy", args=[source.pk]))
    assert page.context["form"]["edition"].value() == "2027 example"
    answer = officer.post(
        reverse("profile-copy", args=[source.pk]),
        {"edition": "2027", "in_force_from": "2027-01-01", "association": source.association, "name": source.name,
         "breed": source.breed_id, "source": ""},
    )  # fmt: skip
    draft = BreedProfile.objects.get(edition="2027")
    assert answer.url == reverse("profile-edit", args=[draft.pk])
    assert (draft.published_at, draft.previous) == (None, source)
    assert difference_words(draft) == []
    keeper = cast.client_of("keeper")
    assert draft.name in keeper.get(reverse("profile-list")).text
    assert "2027" not in keeper.get(reverse("profile-list")).text
    assert keeper.get(reverse("profile-detail", args=[draft.pk])).status_code == 404
    assert officer.get(reverse("profile-detail", args=[draft.pk])).status_code == 200


def test_a_copy_may_be_another_associations_profile(officer, cast):
    source = shipped()
    officer.post(
        reverse("profile-copy", args=[source.pk]),
        {"edition": "2026 example", "in_force_from": "2027-01-01", "association": "Invented Hill Society",
         "name": "Hill silvered", "breed": source.breed_id},
    )  # fmt: skip
    draft = BreedProfile.objects.get(association="Invented Hill Society")
    assert difference_words(draft) == []
    assert shipped().in_force_until is None


def test_the_same_edition_twice_is_refused_in_a_sentence(officer, draft):
    source = shipped()
    answer = officer.post(
        reverse("profile-copy", args=[source.pk]),
        {"edition": draft.edition, "in_force_from": "2027-01-01", "association": source.association, "name": "x",
         "breed": source.breed_id},
    )  # fmt: skip
    assert answer.status_code == 422
    assert "edition for the breed is already there" in plain(answer)


def test_a_copy_keeps_the_pictures_of_steps(cast, draft):
    text = StepText.objects.filter(trait__profile=draft, trait__trait__code="undercolor", step=7)
    text.update(picture="steps/there.jpg")
    twin = make_draft(cast.officer, draft, edition="twin")
    assert StepText.objects.get(trait__profile=twin, picture="steps/there.jpg").step == 7


# --- head


def test_the_head_is_changed(officer, draft):
    address = url("head", draft)
    answer = officer.post(address, fields_of(officer, address, edition="2028", points_total=110, official="on"))
    assert answer.status_code == 302
    draft.refresh_from_db()
    assert (draft.edition, draft.points_total, draft.official) == ("2028", 110, True)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"in_force_until": "2026-01-01"}, "An edition cannot end before it begins."),
        ({"points_total": "-1"}, "greater than or equal to 0"),
        ({"in_force_from": "soon"}, "Enter a valid date."),
        ({"edition": ""}, "This field is required."),
        ({"name": "a\x00b"}, "Null characters are not allowed."),
        ({"edition": "2026 example"}, "edition for the breed is already there"),
    ],
)
def test_a_wrong_head_is_answered(officer, draft, changed, sentence):
    address = url("head", draft)
    answer = officer.post(address, fields_of(officer, address, **changed))
    assert answer.status_code == 422
    assert sentence in plain(answer)
    assert document_of(BreedProfile.objects.get(pk=draft.pk)) == document_of(draft)


# --- points


def test_points_and_floors_are_changed_on_one_page(officer, draft):
    address = url("points", draft)
    changed = {"points-color": "25", "points-fur": "10", "floor-color": "12,5"}
    assert officer.post(address, fields_of(officer, address, **changed)).status_code == 302
    assert sorted(difference_words(draft)) == [
        ("Points", "Color", "Floor", "", "12.5"),
        ("Points", "Color", "Points", "20", "25"),
        ("Points", "Fur", "Points", "15", "10"),
    ]
    assert "add up to 100 of 100 points" in officer.get(address).text


def test_a_draft_may_be_incomplete_and_its_page_says_what_is_missing(officer, draft):
    address = url("points", draft)
    assert officer.post(address, fields_of(officer, address, **{"points-color": "15"})).status_code == 302
    page = plain(officer.get(address))
    assert "The positions add up to 95 points, and the schedule's total is 100: 5 are missing." in page
    assert officer.post(address, fields_of(officer, address, **{"points-color": "20", "points-shoulders": "20"}))
    assert "The parts of General type add up to 60 points, and the position has 55: 5 are too many." in plain(
        officer.get(address)
    )


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"points-color": "many"}, "Write a number of points, such as 20 or 12.5."),
        ({"points-color": "-3"}, "Write a number of points, such as 20 or 12.5."),
        ({"points-color": "20.55"}, "Write a number of points, such as 20 or 12.5."),
        ({"points-color": "99999"}, "Write a number of points, such as 20 or 12.5."),
        ({"points-color": "NaN"}, "Write a number of points, such as 20 or 12.5."),
        ({"points-color": ""}, "Give the points."),
        ({"points-color": "0"}, "A position is worth more than 0 points."),
        ({"points-color": "20.5"}, "A position's points must be reachable in its own steps."),
        ({"floor-color": "21"}, "The floor of a position cannot be more than its points."),
    ],
)
def test_wrong_points_are_answered_and_what_was_typed_stays(officer, draft, changed, sentence):
    address = url("points", draft)
    answer = officer.post(address, fields_of(officer, address, **changed))
    assert answer.status_code == 422
    assert sentence in plain(answer)
    assert all(f'value="{typed}"' in answer.text for typed in changed.values() if typed)
    assert difference_words(draft) == []


def test_a_position_is_added_inside_another_and_taken_out_again(officer, draft):
    address = url("position-create", draft)
    sent = fields_of(officer, address) | {
        "name": "Legs and feet", "points": "5", "step": "0.5", "part_of": "general_type", "behind": ["bone"],
    }  # fmt: skip
    assert officer.post(address, sent).status_code == 302
    row = draft.positions.get(code="legs_and_feet")
    assert (row.parent.code, row.step, [b.trait.code for b in row.basis.all()]) == ("general_type", 0.5, ["bone"])
    assert [part["code"] for part in document_of(draft)["positions"][0]["parts"]][-1] == "legs_and_feet"
    answer = officer.post(url("part-remove", draft, "positions", "legs_and_feet"))
    assert answer.url == url("points", draft)
    assert difference_words(draft) == []


def test_a_position_with_parts_stays_until_its_parts_are_out(officer, draft):
    answer = officer.post(url("part-remove", draft, "positions", "general_type"), follow=True)
    assert "General type has parts. Take its parts out first." in plain(answer)
    assert draft.positions.filter(code="general_type").exists()


def test_a_position_moves_into_another_and_out_again(officer, draft):
    address = url("position", draft, "fur")
    assert officer.post(address, fields_of(officer, address, part_of="color")).status_code == 302
    assert draft.positions.get(code="fur").parent.code == "color"
    sent = fields_of(officer, address)
    del sent["part_of"]
    assert officer.post(address, sent).status_code == 302
    assert draft.positions.get(code="fur").parent is None


def test_only_one_position_takes_its_points_from_the_weight_table(officer, draft):
    for code, status in (("fur", 302), ("condition", 422)):
        address = url("position", draft, code)
        answer = officer.post(address, fields_of(officer, address, by_weight="on"))
        assert answer.status_code == status
    assert "Only one position of a schedule takes its points from the weight table." in plain(answer)
