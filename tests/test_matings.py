"""Matings: logged in seconds, refused by the field in a sentence that names the animal, cautions that may be passed."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from herds.actions.cautions import NotYetConfirmed
from herds.actions.matings import end_mating, record_mating, record_mating_event, update_mating
from herds.models import Mating, MatingEvent
from herds.relations import close_relation, with_grandparents

from .cast import PEOPLE
from .factories import make_animal, make_litter, make_mating


def ago(days):
    return timezone.localdate() - timedelta(days=days)


@pytest.fixture
def doe(cast):
    """A doe of the keeper's herd that is no relation of its buck."""
    return make_animal(cast.herd, "A9", sex="doe", name="Hazel")


def sent(doe, buck, /, **changed):
    """What the mating form sends."""
    form = {
        "doe": doe.pk,
        "buck": buck.pk if buck else "",
        "other_buck": "",
        "mated_on": ago(1),
        "until": "",
        "note": "",
    }
    return form | changed


def post(cast, data, who="keeper"):
    return cast.client_of(who).post(reverse("mating-create"), data)


def said(answer):
    """Every sentence by field of a refused form."""
    return {name: list(errors) for name, errors in answer.context["form"].errors.items()}


def test_a_mating_is_logged_with_doe_buck_and_day(cast, doe):
    answer = post(cast, sent(doe, cast.sire))
    mating = Mating.objects.get()
    assert answer.url == reverse("mating-detail", args=[mating.pk])
    assert (mating.herd, mating.doe, mating.buck, mating.mated_on, mating.logged_by) == (
        cast.herd, doe, cast.sire, ago(1), cast.keeper,
    )  # fmt: skip


def test_the_day_is_today_unless_told(cast):
    page = cast.client_of("keeper").get(reverse("mating-create"))
    assert page.context["form"]["mated_on"].value() == timezone.localdate()


def test_a_buck_from_elsewhere_is_named_by_his_mark(cast, doe):
    post(cast, sent(doe, None, other_buck="m 1"))
    assert Mating.objects.get().buck == cast.other_buck


def test_an_outside_buck_is_named_by_his_mark(cast, doe):
    outside = make_animal(None, "X77", sex="buck", name="Basalt")
    post(cast, sent(doe, None, other_buck="X77"))
    assert Mating.objects.get().buck == outside


def test_a_link_from_an_animals_page_fills_in_the_doe_or_the_buck(cast, doe):
    client = cast.client_of("keeper")
    form = client.get(reverse("mating-create"), {"doe": doe.pk}).context["form"]
    assert form["doe"].value() == doe.pk
    form = client.get(reverse("mating-create"), {"buck": cast.other_buck.pk}).context["form"]
    assert form.initial["other_buck"] == cast.other_buck


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"mated_on": "tomorrow"}, "mated_on", "There is no such day."),
        ({"mated_on": "2026-02-30"}, "mated_on", "There is no such day."),
        ({"mated_on": ago(-2)}, "mated_on", "lies in the future. Choose today or an earlier day."),
        ({"mated_on": ""}, "mated_on", "Choose the day."),
        ({"until": ago(5)}, "until", "They came together on"),
        ({"until": ago(-5)}, "until", "Leave it empty until they are parted."),
        ({"doe": ""}, "doe", "Choose the doe."),
        ({"buck": ""}, "buck", "Choose the buck, or type his mark."),
        ({"buck": "", "other_buck": "Z99"}, "other_buck", "No buck in the registry is called “Z99”."),
        ({"buck": "", "other_buck": "A2"}, "other_buck", "A2 Birch is registered as a doe"),
        ({"other_buck": "M1"}, "other_buck", "A1 Slate is chosen and M1 Flint is typed. Leave one of them empty."),
        ({"note": "x" * 201}, "note", "at most 200 characters"),
    ],
)
def test_bad_input_is_refused_by_the_field_and_what_was_typed_is_kept(cast, doe, changed, field, sentence):
    answer = post(cast, sent(doe, cast.sire, **changed))
    assert answer.status_code == 422
    assert sentence in said(answer)[field][0]
    assert not Mating.objects.exists()
    kept = answer.context["form"].data
    assert all(kept[name] == str(value) for name, value in changed.items())


def test_the_same_mating_is_not_logged_twice(cast, doe):
    make_mating(doe, cast.sire, mated_on=ago(1))
    answer = post(cast, sent(doe, cast.sire))
    assert answer.status_code == 422
    assert "A9 Hazel to A1 Slate on" in said(answer)["mated_on"][0]
    assert "is already in the log. Nothing was added." in said(answer)["mated_on"][0]


def test_a_form_sent_twice_is_carried_out_once(cast, doe):
    data = sent(doe, cast.sire, submission_key="7f3f2a52-5a0e-4f5f-9d0c-3f3a2b1c0d9e")
    client = cast.client_of("keeper")
    first = client.post(reverse("mating-create"), data)
    second = client.post(reverse("mating-create"), data)
    assert first.url == second.url
    assert Mating.objects.count() == 1


def test_a_doe_too_young_is_named_with_her_age(cast):
    young = make_animal(cast.herd, "A40", sex="doe", name="Sprig", born_on=ago(100))
    answer = post(cast, sent(young, cast.sire))
    assert answer.status_code == 422
    assert "A40 Sprig was 3 months" in said(answer)["doe"][0]
    assert "old (99 days)" in said(answer)["doe"][0]
    assert "The club's youngest age at mating is 105 days." in said(answer)["doe"][0]


def test_a_buck_too_young_is_named_too(cast, doe):
    young = make_animal(cast.herd, "A41", sex="buck", name="Pebble", born_on=ago(104))
    assert "A41 Pebble was" in said(post(cast, sent(doe, young)))["buck"][0]


def test_the_youngest_age_is_exact(cast, doe):
    for days, status in ((105, 422), (106, 302)):  # mated yesterday: one day younger then
        young = make_animal(cast.herd, f"B{days}", sex="buck", born_on=ago(days))
        assert post(cast, sent(doe, young)).status_code == status, days


def test_an_animal_not_yet_born_or_dead_that_day_is_refused(cast, doe):
    gone = make_animal(cast.herd, "A42", sex="buck", name="Grit", status="died", status_on=ago(9))
    with pytest.raises(ValidationError) as refusal:
        record_mating(doe=doe, buck=gone, mated_on=ago(1), by=cast.keeper)
    assert "A42 Grit died on" in refusal.value.message_dict["buck"][0]
    with pytest.raises(ValidationError) as refusal:
        record_mating(doe=doe, buck=cast.sire, mated_on=ago(800), by=cast.keeper)
    assert "was born on" in refusal.value.message_dict["doe"][0]


@pytest.mark.parametrize(
    ("role", "mark", "field"), [("doe", "A1", "doe"), ("buck", "A2", "buck"), ("buck", "A43", "buck")]
)
def test_the_wrong_sex_is_refused_by_name(cast, doe, role, mark, field):
    make_animal(cast.herd, "A43", sex="unknown", name="Fog")
    wrong = type(doe).objects.get(mark_text=mark)
    pair = {"doe": doe, "buck": cast.sire} | {role: wrong}
    if pair["doe"] == pair["buck"]:
        pair["buck"] = make_animal(cast.herd, "A44", sex="buck")
    with pytest.raises(ValidationError) as refusal:
        record_mating(**pair, mated_on=ago(1), by=cast.keeper)
    assert f"{wrong} is not registered as a {role}." in refusal.value.message_dict[field][0]


def test_the_doe_must_be_ones_own(cast, doe):
    stranger = make_animal(cast.other_herd, "M5", sex="doe")
    answer = post(cast, sent(stranger, cast.sire))
    assert said(answer)["doe"] == ["Choose a doe of your own herds."]
    with pytest.raises(ValidationError):
        record_mating(doe=stranger, buck=cast.sire, mated_on=ago(1), by=cast.keeper)


# Relations, drawn by hand: sire A1, dam A2, daughter A3 of both.


def relatives(cast):
    """A small family around A1 and A2 by name."""

    def make(mark, sex, sire=None, dam=None, days=400):
        return make_animal(cast.herd, mark, sex=sex, sire=sire, dam=dam, born_on=ago(days))

    other_doe = make("R1", "doe", days=730)
    son = make("R2", "buck", cast.sire, cast.dam)
    half_son = make("R3", "buck", cast.sire, other_doe)
    granddaughter = make("R4", "doe", make("R5", "buck", days=730), cast.daughter, days=150)
    cousin_parent = make("R6", "buck", cast.sire, cast.dam)
    cousin = make("R7", "buck", cousin_parent, make("R8", "doe", days=730), days=150)
    return {
        "sire": cast.sire, "dam": cast.dam, "daughter": cast.daughter, "son": son, "half_son": half_son,
        "granddaughter": granddaughter, "cousin": cousin, "stranger": make("R9", "buck"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("doe", "buck", "sentence"),
    [
        ("daughter", "sire", "A3 Alder is a daughter of A1 Slate."),
        ("dam", "son", "R2 is a son of A2 Birch."),
        ("daughter", "son", "A3 Alder and R2 have the same sire and dam: A1 Slate and A2 Birch."),
        ("daughter", "half_son", "A3 Alder and R3 are half brother and sister through A1 Slate."),
        ("granddaughter", "sire", "A1 Slate is a grandparent of R4."),
        ("granddaughter", "son", "R2 is a full brother of A3 Alder, a parent of R4."),
        ("granddaughter", "cousin", ""),
        ("daughter", "stranger", ""),
        ("dam", "sire", ""),
    ],
)
def test_close_relations_are_said_in_words(cast, doe, buck, sentence, django_assert_num_queries):
    family = relatives(cast)
    with django_assert_num_queries(1):
        animals = with_grandparents(family[doe].pk, family[buck].pk)
    assert close_relation(animals[family[doe].pk], animals[family[buck].pk]) == sentence


def test_a_close_mating_is_asked_about_and_may_go_on(cast):
    answer = post(cast, sent(cast.daughter, cast.sire))
    assert answer.status_code == 422
    assert not Mating.objects.exists()
    page = answer.content.decode()
    assert "A3 Alder is a daughter of A1 Slate." in page
    assert "ask the club what its rules say" in page
    token = answer.context["form"].token
    assert post(cast, sent(cast.daughter, cast.sire, confirmed=token)).status_code == 302
    assert Mating.objects.count() == 1


def test_a_yes_to_one_pair_is_no_yes_to_another(cast):
    token = post(cast, sent(cast.daughter, cast.sire)).context["form"].token
    brother = make_animal(cast.herd, "A60", sex="buck", sire=cast.sire, dam=cast.dam, born_on=ago(300))
    assert post(cast, sent(cast.daughter, brother, confirmed=token)).status_code == 422
    assert not Mating.objects.exists()


def test_a_doe_that_may_be_in_kindle_is_asked_about(cast, doe):
    make_mating(doe, cast.sire, mated_on=ago(15))
    answer = post(cast, sent(doe, cast.sire))
    assert [caution.code for caution in answer.context["form"].cautions] == ["in-kindle"]
    assert "14 days before, and may be in kindle" in answer.context["form"].cautions[0].text


def test_a_doe_felt_empty_or_given_up_is_not_asked_about(cast, doe):
    mating = make_mating(doe, cast.sire, mated_on=ago(15))
    record_mating_event(mating=mating, kind="palpation", result="empty", on=ago(3), by=cast.keeper)
    assert post(cast, sent(doe, cast.sire)).status_code == 302


def test_a_doe_mated_since_she_kindled_is_asked_about(cast, doe):
    make_litter(doe, cast.sire, kits=4, born_on=ago(32))
    make_mating(doe, cast.sire, mated_on=ago(20))
    codes = [caution.code for caution in post(cast, sent(doe, cast.sire)).context["form"].cautions]
    assert codes == ["in-kindle", "early-rebreeding"]


def test_a_second_buck_within_days_makes_the_sire_doubtful(cast, doe):
    make_mating(doe, cast.sire, mated_on=ago(2))
    answer = post(cast, sent(doe, cast.other_buck, buck="", other_buck="M1"))
    assert [caution.code for caution in answer.context["form"].cautions] == ["two-bucks"]
    assert post(cast, sent(doe, cast.sire)).status_code == 302


def test_an_early_rebreeding_is_asked_about(cast, doe):
    make_litter(doe, cast.sire, kits=4, born_on=ago(11))
    answer = post(cast, sent(doe, cast.sire))
    assert "10 days before. Usual is to wait 35 to 42 days" in answer.context["form"].cautions[0].text


def test_the_clubs_own_rules_stand_beside_the_caution(cast):
    from clubsite.members.models import Club

    Club.objects.filter(pk=Club.current().pk).update(house_rules="No matings of brother and sister.")
    assert "No matings of brother and sister." in post(cast, sent(cast.daughter, cast.sire)).content.decode()


def event(cast, mating, **data):
    return cast.client_of("keeper").post(
        reverse("mating-event", args=[mating.pk]), {"what": "in_kindle", "note": ""} | data
    )


def test_palpation_and_nest_box_are_noted_with_what_was_felt(cast, doe):
    mating = make_mating(doe, cast.sire, mated_on=ago(28))
    assert event(cast, mating, on=ago(16)).status_code == 302
    assert event(cast, mating, on=ago(0), what="nest_box").status_code == 302
    assert [(str(each), each.result) for each in mating.events.all()] == [
        (f"palpated on {ago(16)}", "in_kindle"), (f"nest box in on {ago(0)}", ""),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("data", "field", "sentence"),
    [
        ({"on": ago(-1)}, "on", "lies in the future"),
        ({"on": ago(40)}, "on", "A9 Hazel was mated on"),
        ({"on": ago(1), "what": ""}, "what", "Choose what was done."),
        ({"on": ago(16)}, "on", "This is already logged for A9 Hazel"),
        ({"on": ago(1), "what": "singing"}, "what", "Select a valid choice."),
    ],
)
def test_a_bad_event_is_refused_by_the_field(cast, doe, data, field, sentence):
    mating = make_mating(doe, cast.sire, mated_on=ago(28))
    event(cast, mating, on=ago(16))
    answer = event(cast, mating, **data)
    assert answer.status_code == 422
    assert sentence in said(answer)[field][0]
    assert mating.events.count() == 1


def test_a_mating_is_given_up_and_opened_again(cast, doe):
    mating, client = make_mating(doe, cast.sire, mated_on=ago(40)), cast.client_of("keeper")
    client.post(reverse("mating-end", args=[mating.pk]))
    assert Mating.objects.get().ended_on == timezone.localdate()
    client.post(reverse("mating-reopen", args=[mating.pk]))
    assert Mating.objects.get().ended_on is None


def test_a_mating_with_a_litter_is_neither_given_up_nor_removed(cast, doe):
    mating = make_mating(doe, cast.sire, mated_on=ago(40))
    make_litter(doe, cast.sire, mating=mating, kits=3, born_on=ago(9))
    with pytest.raises(ValidationError, match="A9 Hazel has a litter from this mating"):
        end_mating(mating=mating, by=cast.keeper)
    answer = cast.client_of("keeper").post(reverse("mating-delete", args=[mating.pk]))
    assert answer.status_code == 422
    assert Mating.objects.count() == 1


def test_removing_asks_first_and_says_that_it_is_for_good(cast, doe):
    mating, client = make_mating(doe, cast.sire, mated_on=ago(4)), cast.client_of("keeper")
    url = reverse("mating-delete", args=[mating.pk])
    assert "This cannot be undone." in client.get(url).content.decode()
    assert client.post(url).url == reverse("mating-list")
    assert not Mating.objects.exists()


def test_a_stale_page_changes_nothing_and_shows_both_values(cast, doe):
    mating, client = make_mating(doe, cast.sire, mated_on=ago(6), note="first"), cast.client_of("keeper")
    update_mating(mating=mating, mated_on=ago(5), until=None, note="theirs", by=cast.co_owner, version=1)
    url = reverse("mating-update", args=[mating.pk])
    answer = client.post(url, {"mated_on": ago(4), "until": "", "note": "mine", "version": 1})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "was changed by somebody else after you opened this page" in page
    assert "mine" in page
    assert "theirs" in page
    assert Mating.objects.get().note == "theirs"
    version = answer.context["form"].data["version"]
    assert client.post(url, {"mated_on": ago(4), "until": "", "note": "mine", "version": version}).status_code == 302
    assert Mating.objects.get().note == "mine"


def test_a_mating_cannot_be_moved_away_from_its_litter_or_its_events(cast, doe):
    mating = make_mating(doe, cast.sire, mated_on=ago(40))
    make_litter(doe, cast.sire, mating=mating, kits=3, born_on=ago(9))
    with pytest.raises(ValidationError) as refusal:
        update_mating(mating=mating, mated_on=ago(20), until=None, note="", by=cast.keeper, version=1)
    assert "is day 11 after the mating" in refusal.value.message_dict["mated_on"][0]
    MatingEvent.objects.create(mating=mating, kind="palpation", on=ago(30), result="in_kindle")
    with pytest.raises(ValidationError) as refusal:
        update_mating(mating=mating, mated_on=ago(29), until=None, note="", by=cast.keeper, version=1)
    assert "A9 Hazel was palpated on" in refusal.value.message_dict["mated_on"][0]


KEEPERS = ("keeper", "co_owner")


@pytest.mark.parametrize("who", PEOPLE)
def test_only_those_who_keep_the_herd_log_and_read_its_matings(cast, doe, who):
    mating = make_mating(doe, cast.sire, mated_on=ago(12))
    happened = MatingEvent.objects.create(mating=mating, kind="palpation", on=ago(1), result="unsure")
    client = cast.client_of(who)
    stranger = 302 if who == "visitor" else 404
    for name in ("mating-detail", "mating-update", "mating-delete"):
        expected = 200 if who in KEEPERS else stranger
        assert client.get(reverse(name, args=[mating.pk])).status_code == expected, name
    for name, pk in (("mating-event-remove", happened.pk), ("mating-end", mating.pk), ("mating-reopen", mating.pk)):
        answer = client.post(reverse(name, args=[pk]))
        assert answer.status_code == (302 if who in KEEPERS else stranger), name
    assert client.get(reverse("mating-create")).status_code == (302 if who == "visitor" else 200)
    listed = client.get(reverse("mating-list"))
    assert ("A9 Hazel" in listed.content.decode()) == (who in KEEPERS)


def test_a_grant_with_the_log_reads_and_does_not_write(cast, doe):
    mating = make_mating(doe, cast.sire, mated_on=ago(12))
    cast.herd.grants.filter(mentor=cast.mentor).update(with_log=True)
    client = cast.client_of("mentor")
    page = client.get(reverse("mating-detail", args=[mating.pk]))
    assert page.status_code == 200
    assert "Log what you did" not in page.content.decode()
    assert client.get(reverse("mating-update", args=[mating.pk])).status_code == 404
    assert client.post(reverse("mating-end", args=[mating.pk])).status_code == 404
    assert "A9 Hazel" in client.get(reverse("mating-list"), {"herd": "shared"}).content.decode()
    cast.herd.grants.filter(mentor=cast.mentor).update(ends_on=ago(1), starts_on=ago(9))
    assert client.get(reverse("mating-detail", args=[mating.pk])).status_code == 404


def test_a_revoked_grant_with_the_log_reads_nothing(cast, doe):
    mating = make_mating(doe, cast.sire, mated_on=ago(12))
    cast.herd.grants.filter(mentor=cast.revoked_mentor).update(with_log=True)
    assert cast.client_of("revoked_mentor").get(reverse("mating-detail", args=[mating.pk])).status_code == 404


def test_a_herd_that_shares_its_litters_is_read_by_members(cast, doe):
    mating = make_mating(doe, cast.sire, mated_on=ago(12))
    cast.herd.shares_litters = True
    cast.herd.save()
    assert cast.client_of("fellow").get(reverse("mating-detail", args=[mating.pk])).status_code == 200
    assert cast.client_of("fellow").post(reverse("mating-end", args=[mating.pk])).status_code == 404


@pytest.mark.parametrize(
    ("state", "marks"),
    [("open", {"B1", "B2"}), ("in_kindle", {"B2"}), ("litter", {"B3"}), ("given_up", {"B4"}), ("unclosed", {"B5"})],
)
def test_the_list_of_matings_filters_by_state(cast, state, marks):
    does = {mark: make_animal(cast.herd, mark, sex="doe") for mark in ("B1", "B2", "B3", "B4", "B5")}
    make_mating(does["B1"], cast.sire, mated_on=ago(35))
    MatingEvent.objects.create(
        mating=make_mating(does["B2"], cast.sire, mated_on=ago(14)), kind="palpation", on=ago(2), result="in_kindle"
    )
    make_litter(does["B3"], cast.sire, mating=make_mating(does["B3"], cast.sire, mated_on=ago(40)), born_on=ago(9))
    make_mating(does["B4"], cast.sire, mated_on=ago(20), ended_on=ago(2))
    make_mating(does["B5"], cast.sire, mated_on=ago(36))
    page = cast.client_of("keeper").get(reverse("mating-list"), {"state": state}).context["page"]
    assert {mating.doe.mark_text for mating in page} == marks


def test_the_list_finds_sorts_and_exports_what_is_on_screen(cast, doe):
    make_mating(doe, cast.sire, mated_on=ago(12), note="=HYPERLINK(1)")
    make_mating(cast.dam, cast.sire, mated_on=ago(40))
    client, url = cast.client_of("keeper"), reverse("mating-list")
    assert [row.doe for row in client.get(url, {"q": "hazel"}).context["page"]] == [doe]
    assert [row.doe for row in client.get(url, {"sort": "doe"}).context["page"]] == [cast.dam, doe]
    assert [row.doe for row in client.get(url, {"since": ago(20)}).context["page"]] == [doe]
    sheet = client.get(url, {"q": "hazel", "as": "csv"})
    assert sheet["Content-Type"].startswith("text/csv")
    lines = sheet.content.decode("utf-8-sig").splitlines()
    assert len(lines) == 2
    assert "A9 Hazel" in lines[1]
    assert "'=HYPERLINK(1)" in lines[1]


@pytest.mark.parametrize(
    "query", [{"herd": "x"}, {"state": "x"}, {"since": "x"}, {"page": "x"}, {"sort": "x"}, {"q": "%"}]
)
def test_a_strange_question_to_the_list_is_answered_with_a_list(cast, query):
    assert cast.client_of("keeper").get(reverse("mating-list"), query).status_code == 200


def test_the_list_of_matings_costs_the_same_for_many(cast, django_assert_num_queries):
    client, url = cast.client_of("keeper"), reverse("mating-list")
    client.get(url)
    for number in range(2):
        make_mating(make_animal(cast.herd, f"C{number}", sex="doe"), cast.sire, mated_on=ago(10 + number))
    with django_assert_num_queries(9):
        client.get(url)
    for number in range(2, 30):
        make_mating(make_animal(cast.herd, f"C{number}", sex="doe"), cast.sire, mated_on=ago(10 + number))
    with django_assert_num_queries(9):
        client.get(url)


def test_close_matings_can_be_logged_by_the_action_only_after_a_yes(cast):
    with pytest.raises(NotYetConfirmed) as question:
        record_mating(doe=cast.daughter, buck=cast.sire, mated_on=ago(1), by=cast.keeper)
    token = question.value.token
    assert record_mating(doe=cast.daughter, buck=cast.sire, mated_on=ago(1), by=cast.keeper, confirmed=token)
