"""Publishing an edition: what it asks for, which day it counts from, and that old looks keep theirs."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from grading.actions.editions import publish, save_part, withdraw
from grading.actions.looks import start_look
from grading.models import BreedProfile, Look, Trait
from grading.profiles.checks import hindrances
from grading.profiles.documents import document_of, fingerprint
from grading.profiles.parts import part_of

from .edition_making import make_draft, shipped
from .factories import make_look

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(cast):
    return cast.client_of("officer")


@pytest.fixture
def draft(cast):
    return make_draft(cast.officer)


def send(officer, draft, day):
    address = reverse("profile-publish", args=[draft.pk])
    seen = officer.get(address).context["form"]["seen"].value()
    return officer.post(address, {"in_force_from": day, "seen": seen})


def put_in_force(draft, by, day):
    draft = BreedProfile.objects.get(pk=draft.pk)
    publish(profile=draft, in_force_from=day, seen=fingerprint(document_of(draft)), by=by)
    return BreedProfile.objects.get(pk=draft.pk)


def change(draft, by, part, content):
    save_part(profile=draft, name=part, content=content, seen=fingerprint(part_of(draft, part)), by=by)


# Points of both shipped schedules: common practice, no source; and breed pages, read second-hand (our trade figures).
SCHEDULES = {
    "Unofficial example": ([55, 20, 15, 10], {"color": 20, "hindquarters": 20, "general_type": 55}),
    "Unofficial example, Central Europe": ([20, 10, 20, 15, 15, 15, 5], {}),
}


@pytest.mark.parametrize("association", SCHEDULES)
def test_the_shipped_schedules_add_up_as_the_trade_has_them(association):
    points, named = SCHEDULES[association]
    edition = BreedProfile.objects.get(association=association)
    assert [row["points"] for row in document_of(edition)["positions"]] == points
    assert sum(points) == 100
    assert hindrances(document_of(edition)) == []
    assert named.items() <= dict(edition.positions.values_list("code", "points")).items()


def test_publishing_puts_an_edition_in_force_and_ends_the_one_before_the_day_before(officer, draft):
    before, breed = shipped(), draft.breed
    answer = send(officer, draft, "2027-03-01")
    assert answer.url == reverse("profile-detail", args=[draft.pk])
    before.refresh_from_db()
    assert before.in_force_until == date(2027, 2, 28)
    assert BreedProfile.in_force(breed, date(2027, 2, 28)) == before
    assert BreedProfile.in_force(breed, date(2027, 3, 1)) == draft


def test_an_edition_between_two_ends_before_the_later_one(cast, draft):
    first, late = shipped(), put_in_force(draft, cast.officer, date(2028, 1, 1))
    middle = put_in_force(make_draft(cast.officer, first, edition="between"), cast.officer, date(2027, 6, 1))
    first.refresh_from_db()
    assert (first.in_force_until, middle.in_force_until) == (date(2027, 5, 31), date(2027, 12, 31))
    assert late.in_force_until is None


def test_another_associations_edition_ends_nothing(cast):
    other = make_draft(cast.officer, association="Invented Hill Society")
    put_in_force(other, cast.officer, date(2027, 1, 1))
    assert shipped().in_force_until is None


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        ("2000-01-01", "is in force from this day. Choose another day."),
        ("", "Choose the day."),
        ("2097-01-01", "This day is more than five years away."),
        ("x", "Enter a valid date."),
    ],
)
def test_a_wrong_day_is_answered(officer, draft, day, sentence):
    answer = send(officer, draft, day)
    assert answer.status_code == 422
    assert sentence in answer.text
    assert shipped().in_force_until is None


@pytest.mark.parametrize(
    ("part", "content", "sentence"),
    [
        ("points", {"color": {"points": 15}},
         "The positions add up to 95 points, and the schedule's total is 100: 5 are missing."),
        ("points", {"color": {"points": 20.5}},
         "The positions add up to 100.5 points, and the schedule's total is 100: 0.5 are too many."),
        ("points", {"head_ears": {"points": 4}},
         "The parts of General type add up to 54 points, and the position has 55: 1 is missing."),
        ("months", {"junior": [0, 5]}, "Between Junior and Intermediate, from 5 to 6 months, is no class."),
        ("months", {"junior": [0]}, "Junior ends at no age, yet Intermediate begins at 6: they overlap."),
        ("weight_bands", [{"points": 5, "grams": [3500]}], "no position takes its points from it"),
    ],
)  # fmt: skip
def test_what_does_not_add_up_refuses_publishing_with_the_difference(officer, cast, draft, part, content, sentence):
    if isinstance(content, dict):
        content = part_of(draft, part) | content
    if "100.5" in sentence:
        draft.positions.filter(code="color").update(step="0.5")
    change(draft, cast.officer, part, content)
    address = reverse("profile-publish", args=[draft.pk])
    page = officer.get(address)
    assert sentence in page.text.replace("&#x27;", "'")
    assert "disabled" in page.text
    answer = send(officer, draft, "2027-01-01")
    assert answer.status_code == 422
    assert sentence in answer.text.replace("&#x27;", "'")
    assert shipped().in_force_until is None
    assert not BreedProfile.objects.get(pk=draft.pk).published_at


def test_an_edition_changed_by_another_officer_is_read_again_before_it_is_published(officer, cast, draft):
    address = reverse("profile-publish", args=[draft.pk])
    seen = officer.get(address).context["form"]["seen"].value()
    change(draft, cast.officer, "months", part_of(draft, "months") | {"junior": [0, 5], "intermediate": [5, 8]})
    answer = officer.post(address, {"in_force_from": "2027-01-01", "seen": seen})
    assert answer.status_code == 409
    assert "Another officer changed this edition after you opened this page. Read the differences again." in answer.text
    assert "under 5 months" in answer.text
    again = officer.post(address, {"in_force_from": "2027-01-01", "seen": answer.context["form"]["seen"].value()})
    assert again.status_code == 302


def test_publishing_twice_is_answered(officer, cast, draft):
    address = reverse("profile-publish", args=[draft.pk])
    seen = officer.get(address).context["form"]["seen"].value()
    send(officer, draft, "2027-01-01")
    answer = officer.post(address, {"in_force_from": "2027-05-01", "seen": seen})
    assert answer.status_code == 409
    assert "This edition is published" in answer.text


def test_old_looks_keep_their_edition_word_for_word(officer, cast, draft):
    surface = Trait.objects.get(code="surface_shade")
    day = timezone.localdate() - timedelta(days=20)
    look = make_look(cast.daughter, cast.keeper, profile=shipped(), steps={surface: 7}, observed_on=day)
    keeper, address = cast.client_of("keeper"), reverse("look-detail", args=[look.pk])
    before = main_of(keeper.get(address))
    assert "7 to 8" in before
    change(draft, cast.officer, "traits.surface_shade", {"goal": [3, 4], "steps": {"7": "Other words"}})
    change(draft, cast.officer, "traits.bone", None)
    put_in_force(draft, cast.officer, day - timedelta(days=1))
    assert main_of(keeper.get(address)) == before
    new = start_look(animal=cast.daughter, mode="in_hand", light="overcast", by=cast.keeper)
    assert (new.profile, Look.objects.get(pk=look.pk).profile) == (draft, shipped())


def main_of(response):
    """What the page's main part says; tokens that change with every answer left out."""
    start = response.text.index("<main")
    lines = response.text[start : response.text.index("</main>")].splitlines()
    return "\n".join(line for line in lines if "csrfmiddlewaretoken" not in line and "submission_key" not in line)


def test_a_trait_taken_out_while_looks_use_it_stays_with_those_looks(cast, draft):
    bone = Trait.objects.get(code="bone")
    look = make_look(cast.daughter, cast.keeper, profile=shipped(), steps={bone: 5})
    change(draft, cast.officer, "traits.bone", None)
    put_in_force(draft, cast.officer, timezone.localdate())
    page = cast.client_of("keeper").get(reverse("look-detail", args=[look.pk])).text
    assert "Bone" in page
    assert look.answers.get().trait == bone


def test_an_edition_is_withdrawn_until_a_look_uses_it_and_the_one_before_counts_again(officer, cast, draft):
    edition = put_in_force(draft, cast.officer, timezone.localdate())
    assert BreedProfile.in_force(edition.breed, timezone.localdate()) == edition
    withdraw(profile=edition, by=cast.officer)
    assert shipped().in_force_until is None
    assert BreedProfile.in_force(edition.breed, timezone.localdate()) == shipped()
    edition = put_in_force(draft, cast.officer, timezone.localdate())
    make_look(cast.daughter, cast.keeper, profile=edition)
    address = reverse("profile-withdraw", args=[edition.pk])
    assert "1 look used it, so this will be refused." in officer.get(address).text
    answer = officer.post(address, follow=True)
    assert "Looks were graded by this edition, so it cannot be withdrawn." in answer.text
    assert BreedProfile.objects.get(pk=edition.pk).published_at


def test_the_last_day_of_a_published_edition_is_set(officer):
    address = reverse("profile-end", args=[shipped().pk])
    answer = officer.post(address, {"in_force_until": "1999-01-01"})
    assert answer.status_code == 422
    assert "An edition cannot end before it begins." in answer.text
    assert officer.post(address, {"in_force_until": "2030-06-30"}).status_code == 302
    assert shipped().in_force_until == date(2030, 6, 30)
    assert officer.post(address, {"in_force_until": ""}).status_code == 302
    assert shipped().in_force_until is None


def test_a_draft_is_deleted_and_a_published_edition_never(officer, cast, draft):
    assert officer.post(reverse("profile-delete", args=[draft.pk])).status_code == 302
    assert not BreedProfile.objects.filter(pk=draft.pk).exists()
    assert officer.post(reverse("profile-delete", args=[shipped().pk])).status_code == 404


def test_comparing_shows_what_is_added_removed_and_changed(officer, cast, draft):
    change(draft, cast.officer, "points", part_of(draft, "points") | {"color": {"points": 25}, "fur": {"points": 10}})
    change(draft, cast.officer, "traits.surface_shade", part_of(draft, "traits.surface_shade") | {"goal": [6, 8]})
    change(draft, cast.officer, "traits.bone", None)
    change(draft, cast.officer, "age_classes.old", {"code": "old", "name": "Old", "months": [60]})
    page = officer.get(reverse("profile-compare", args=[draft.pk]))
    sections = {each.title: each for each in page.context["differences"]}
    assert set(sections) == {"About the edition", "Points", "Ages and weights", "Traits and goals"}
    assert [item.title for item in sections["Ages and weights"].added] == ["Old"]
    assert [item.title for item in sections["Traits and goals"].removed] == ["Bone"]
    ((title, (goal,)),) = sections["Traits and goals"].changed
    assert (title, goal.label, goal.before, goal.now) == ("Surface shade", "Goal", "7 to 8", "6 to 8")


def test_a_comparison_with_an_edition_that_is_not_open_is_answered(cast, draft):
    keeper = cast.client_of("keeper")
    address = reverse("profile-compare", args=[shipped().pk])
    for asked in (str(draft.pk), "99999", "x", "9" * 40):
        answer = keeper.get(address, {"with": asked})
        assert answer.status_code == 200
        assert "That edition is not there, or is not open to you." in answer.text


def test_the_list_shows_drafts_to_officers_only_and_when_an_edition_counts(officer, cast, draft):
    edition = put_in_force(draft, cast.officer, date(2030, 1, 1))
    make_draft(cast.officer, edition="2031 example")
    page = officer.get(reverse("profile-list")).text
    assert "In force later" in page
    assert "2031 example" in page
    page = cast.client_of("keeper").get(reverse("profile-list")).text
    assert edition.edition in page
    assert "2031 example" not in page
