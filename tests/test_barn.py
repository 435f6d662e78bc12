"""The page of a whole herd for its mentor, and the season's plan: proposed item by item, answered item by item."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from grading.actions import season as actions
from grading.barn.shared import Part, standing_of
from grading.models import BreedProfile, SeasonItem, Trait
from grading.season_tasks import herd_of, tasks
from herds.models import Decision, Grant, HealthNote
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.models import PlannedMating

from .factories import (
    make_animal,
    make_animal_grant,
    make_breed,
    make_health_note,
    make_look,
    make_profile,
    make_review,
    make_trait,
)

YEAR = timezone.localdate().year
MATING = "Her undercolor, his surface."


def proposed(cast, **given):
    given = {"season": YEAR, "aim": "mate", "animal": cast.dam, "buck": cast.sire, "why": MATING} | given
    if given["aim"] != "mate":
        given["buck"] = None
    return actions.propose(herd=cast.herd, by=cast.mentor, **given)


def graded(cast, steps, *, sire=None, observer=None):
    """An animal of the keeper's herd with one look."""
    number = cast.herd.animals.count()
    animal = make_animal(
        cast.herd, f"G{number}", sex="doe", sire=sire or cast.sire, dam=cast.dam,
        born_on=timezone.localdate() - timedelta(days=300),
    )  # fmt: skip
    make_look(animal, observer or cast.keeper, steps=steps)
    return animal


@pytest.fixture
def scored(cast):
    """Eight does: jetness too low in all, shoulder in the goal in all, surface bright, undercolor pale in six."""
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    low, good = make_trait("guard_jet", name="Jet"), make_trait("loin_full", name="Loin")
    make_profile(cast.sire.breed, traits=[surface, undercolor, low, good])
    for number in range(8):
        under = dict.fromkeys([(undercolor, site) for site in undercolor.sites], 7 if number < 2 else 4)
        graded(cast, {surface: 7, low: 3, good: 7, **under})
    refresh_due()
    return cast


def page(cast, who="mentor", **query):
    return cast.client_of(who).get(reverse("barn", args=[cast.herd.slug]), query)


# what most of them share


def test_wilsons_interval_agrees_with_a_published_one():
    # Newcombe (1998), Statistics in Medicine 17:857-872, table I, method 3 (Wilson without correction)
    for k, n, low, high in (
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ):
        assert Part(k, n).interval == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize(
    ("steps", "verdict"),
    [
        ({7: 8}, "inside"),
        ({3: 8}, "below"),
        ({9: 8}, "above"),
        ({3: 4, 9: 4}, "outside"),
        ({3: 4, 7: 4}, "open"),
        ({7: 4}, "few"),
        ({7: 5, 3: 3}, "open"),
    ],
)
def test_most_is_said_only_where_chance_hardly_makes_it_fewer_than_half(steps, verdict):
    assert standing_of({(step, (6, 8)): animals for step, animals in steps.items()}).verdict == verdict


def test_the_page_tells_strengths_faults_and_surface_only_with_undercolor(scored):
    context = page(scored).context
    assert [line.trait.name for line in context["strengths"]] == ["Loin"]
    assert [line.trait.name for line in context["faults"]] == ["Jet"]
    assert "8 of 8 (68 to 100\xa0%) lie below the goal of 6 to 8" in context["faults"][0].said
    assert "Surface shade: 8 of 8 (68 to 100\xa0%) lie in the goal" in context["pair"]
    assert "Undercolor: 2 of 8 (7 to 59\xa0%) lie in the goal, 6 too light below" in context["pair"]


def test_the_page_tells_who_sired_the_herd_and_how_close_it_is(scored):
    context = page(scored).context
    (row,) = context["sires"]
    assert (row.sire, row.young.k, row.young.n, row.dams) == (scored.sire, 9, 11, 1)
    assert row.fathers_most
    close = context["inbreeding"]
    # nine daughters of A1 with A2: every daughter back to her sire gives 1/4, the dam with him 0; the mean is 9/40
    assert (close.does, close.bucks, close.mean_pair) == (10, 1, pytest.approx(9 / 40))
    assert close.spread.mean == 0
    assert close.unknown == 2


def test_the_page_asks_as_many_queries_for_many_animals_as_for_few(scored, django_assert_max_num_queries):
    proposed(scored)
    client, url = scored.client_of("mentor"), reverse("barn", args=[scored.herd.slug])
    client.get(url)
    with django_assert_max_num_queries(40) as few:
        client.get(url)
    for _ in range(6):
        graded(scored, {Trait.objects.get(summary="surface"): 6})
    for number in range(4):
        proposed(scored, aim="keep", animal=scored.herd.animals.get(mark_text=f"G{number + 3}"))
    with django_assert_max_num_queries(len(few)) as many:
        client.get(url)
    assert len(many) == len(few) == 27


def test_an_empty_herd_and_one_nobody_looked_at_are_told_so(cast):
    assert "Nobody was looked at yet" in page(cast).content.decode()
    cast.herd.animals.update(status="moved_on", status_on=timezone.localdate())
    assert "No animal stands here today." in page(cast).content.decode()


def test_each_breed_of_a_herd_is_told_by_itself(scored):
    other = make_breed("Small silvered")
    make_animal(scored.herd, "B1", sex="buck", breed=other)
    answer = page(scored)
    assert (answer.context["breed"], answer.context["here"]) == (scored.sire.breed, 11)
    small = page(scored, breed=other.slug)
    assert (small.context["breed"], small.context["here"]) == (other, 1)
    assert "Nobody was looked at yet" in small.content.decode()
    assert page(scored, breed="no-such-breed").context["breed"] == scored.sire.breed


def test_a_breed_without_a_schedule_in_force_has_no_goal_to_meet(scored):
    BreedProfile.objects.update(in_force_until=timezone.localdate() - timedelta(days=1))
    answer = page(scored)
    assert "No schedule of this breed is in force" in answer.content.decode()
    assert answer.context["strengths"] == answer.context["faults"] == []
    assert answer.context["group"].animals == 8


def test_looks_stay_out_of_what_a_mentor_reads_before_grading_those_animals_blind(scored):
    animal = scored.herd.animals.get(mark_text="G3")
    review = make_review(scored.herd, [animal], scored.keeper, scored.mentor, state="taken")
    make_animal_grant(animal, scored.mentor, scored.keeper)
    context = page(scored).context
    assert context["blind"] == 1
    assert context["group"].animals == 7
    assert "G3" not in str(context["panels"][0].rows)
    review.animals.update(photo_problem="blurred", done_at=timezone.now())  # better photos may come, and it is graded
    assert page(scored).context["blind"] == 1
    assert page(scored, "keeper").context["group"].animals == 8


def test_a_grant_of_single_animals_opens_no_whole_herd(cast):
    make_animal_grant(cast.dam, cast.grader, cast.keeper)
    assert page(cast, "grader").status_code == 404


@pytest.mark.parametrize("change", ["revoked", "ended", "shut"])
def test_a_grant_that_is_over_opens_nothing(cast, change):
    proposed(cast)
    grant = Grant.objects.filter(mentor=cast.mentor)
    today = timezone.localdate()
    if change == "revoked":
        grant.update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    elif change == "ended":
        grant.update(starts_on=today - timedelta(days=9), ends_on=today - timedelta(days=1))
    client = cast.client_of("mentor")
    if change == "shut":
        type(cast.mentor).objects.filter(pk=cast.mentor.pk).update(is_active=False)
        assert client.get(reverse("barn", args=[cast.herd.slug])).status_code == 302
    else:
        assert client.get(reverse("barn", args=[cast.herd.slug])).status_code == 404
    assert not SeasonItem.objects.visible_to(type(cast.mentor).objects.get(pk=cast.mentor.pk)).exists()


# the season's plan


def test_a_mentor_proposes_and_edits_and_the_owner_accepts_item_by_item(cast):
    mentor, keeper = cast.client_of("mentor"), cast.client_of("keeper")
    given = {"aim": "mate", "animal": cast.dam.pk, "buck": cast.sire.pk, "why": MATING, "season": YEAR}
    answer = mentor.post(reverse("season-create", args=[cast.herd.slug]), given)
    assert answer.url == reverse("barn", args=[cast.herd.slug]) + "#plan"
    item = SeasonItem.objects.get()
    changed = given | {"why": "Only if she is fit.", "version": item.version}
    assert mentor.post(reverse("season-update", args=[item.pk]), changed).status_code == 302
    item.refresh_from_db()
    assert item.why == "Only if she is fit."
    keep = proposed(cast, aim="keep", animal=cast.daughter, why="The best undercolor here.")
    page = keeper.get(reverse("barn", args=[cast.herd.slug])).content.decode()
    assert "Only if she is fit." in page
    assert "The best undercolor here." in page
    keeper.post(reverse("season-answer", args=[item.pk]), {"do": "accept", "version": item.version})
    keeper.post(
        reverse("season-answer", args=[keep.pk]), {"do": "decline", "version": keep.version, "answer": "She is sold."}
    )
    item.refresh_from_db()
    keep.refresh_from_db()
    assert (item.state, keep.state, keep.answer) == ("accepted", "declined", "She is sold.")
    planned = PlannedMating.objects.get()
    assert (planned.doe, planned.buck, planned.planned_by, item.mating) == (cast.dam, cast.sire, cast.keeper, planned)
    assert not Decision.objects.exists()
    assert "She is sold." in mentor.get(reverse("barn", args=[cast.herd.slug])).content.decode()


def test_an_accepted_opinion_is_the_owners_decision_with_the_mentors_reason(cast):
    item = proposed(cast, aim="grow_on", animal=cast.daughter, why="Look again in prime.")
    actions.accept_item(item=item, by=cast.co_owner, version=item.version)
    decision = Decision.objects.get()
    assert (decision.animal, decision.verdict, decision.by) == (cast.daughter, "grow_on", cast.co_owner)
    assert decision.reason == "Anselm Oakhurst: Look again in prime."


def test_letting_go_within_a_withdrawal_period_is_asked_about_first(cast):
    make_health_note(cast.daughter, withdrawal_until=timezone.localdate() + timedelta(days=9))
    assert HealthNote.objects.exists()
    item = proposed(cast, aim="let_go", animal=cast.daughter, why="Pale to the skin.")
    client, url = cast.client_of("keeper"), reverse("season-answer", args=[item.pk])
    asked = client.post(url, {"do": "accept", "version": item.version})
    assert asked.status_code == 422
    assert "A withdrawal period of" in asked.content.decode()
    item.refresh_from_db()
    assert item.state == "proposed"
    token = asked.context["form"].token
    assert client.post(url, {"do": "accept", "version": item.version, "confirmed": token}).status_code == 302
    assert Decision.objects.get().verdict == "let_go"


def test_what_was_changed_meanwhile_is_not_accepted_unread(cast):
    item = proposed(cast)
    given = {"season": YEAR, "aim": "mate", "animal": cast.dam, "buck": cast.sire, "why": "Wait until May."}
    actions.change_item(item=item, by=cast.mentor, version=item.version, **given)
    client = cast.client_of("keeper")
    stale = client.post(
        reverse("season-answer", args=[item.pk]), {"do": "accept", "version": item.version, "answer": "Gladly"}
    )
    assert stale.status_code == 409
    assert "Wait until May." in stale.content.decode()
    assert "Gladly" in stale.content.decode()
    item.refresh_from_db()
    assert item.state == "proposed"
    assert f'name="version" value="{item.version}"' in stale.content.decode()


def test_an_item_is_answered_once(cast):
    item = proposed(cast, aim="keep", animal=cast.daughter)
    actions.decline_item(item=item, by=cast.keeper, version=item.version)
    with pytest.raises(ValidationError, match="answered or taken back meanwhile"):
        actions.accept_item(item=item, by=cast.co_owner, version=item.version)
    with pytest.raises(ValidationError, match="answered or taken back meanwhile"):
        actions.withdraw_item(item=item, by=cast.mentor)
    assert not Decision.objects.exists()


def test_only_owners_answer_and_only_the_writer_edits(cast):
    item = proposed(cast)
    with pytest.raises(ValidationError):
        actions.accept_item(item=item, by=cast.mentor, version=item.version)
    second = cast.grader
    Grant.objects.create(
        herd=cast.herd, mentor=second, granted_by=cast.keeper, ends_on=timezone.localdate() + timedelta(days=5)
    )
    with pytest.raises(ValidationError, match="answered or taken back"):
        actions.withdraw_item(item=item, by=second)
    assert cast.client_of("grader").get(reverse("season-update", args=[item.pk])).status_code == 404
    assert MATING in page(cast, "grader").content.decode()


@pytest.mark.parametrize("name", ["season-create", "season-update"])
def test_a_grant_that_ended_while_the_mentor_typed_gives_the_words_back_and_shows_nothing(cast, name):
    item = proposed(cast)
    Grant.objects.filter(mentor=cast.mentor).update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    url = reverse(name, args=[cast.herd.slug if name == "season-create" else item.pk])
    given = {"aim": "keep", "animal": cast.dam.pk, "why": "A long sentence, typed in vain.", "season": YEAR}
    answer = cast.client_of("mentor").post(url, given)
    text = answer.content.decode()
    assert answer.status_code == 409
    assert "no longer open to you" in text
    assert "A long sentence, typed in vain." in text
    assert "Birch" not in text
    assert "Ashgrove" not in text.replace("Ida Ashgrove", "")
    assert SeasonItem.objects.count() == 1
    assert cast.client_of("mentor").get(url).status_code == 404
    assert cast.client_of("fellow").post(url, given).status_code == 404


@pytest.mark.parametrize(
    ("given", "field", "sentence"),
    [
        ({"animal": None}, "animal", "Choose the doe"),
        ({"buck": None}, "buck", "Choose the buck"),
        ({"why": "   "}, "why", "Say why"),
        ({"why": "x" * 501}, "why", "500 letters"),
        ({"season": YEAR + 9}, "season", f"from {YEAR} to"),
        ({"aim": "keep", "animal": None}, "animal", "Choose the animal"),
    ],
)
def test_what_is_wrong_with_a_proposal_is_said_by_its_field(cast, given, field, sentence):
    with pytest.raises(ValidationError) as refused:
        proposed(cast, **given)
    assert sentence in refused.value.message_dict[field][0]
    assert not SeasonItem.objects.exists()


def test_animals_of_other_herds_and_bucks_not_offered_are_refused(cast):
    with pytest.raises(ValidationError, match="is not offered to the club"):
        proposed(cast, buck=cast.other_buck)
    with pytest.raises(ValidationError, match="does not stand in"):
        proposed(cast, aim="keep", animal=cast.other_buck)
    type(cast.other_buck).objects.filter(pk=cast.other_buck.pk).update(offered_to_club=True)
    cast.other_buck.refresh_from_db()
    item = proposed(cast, buck=cast.other_buck)
    assert actions.accept_item(item=item, by=cast.keeper, version=item.version).mating.buck == cast.other_buck


def test_an_animal_that_left_meanwhile_is_not_mated_on_paper(cast):
    item = proposed(cast)
    type(cast.dam).objects.filter(pk=cast.dam.pk).update(herd=cast.other_herd)
    with pytest.raises(ValidationError, match="no longer stands in your herd"):
        actions.accept_item(item=item, by=cast.keeper, version=item.version)
    item.refresh_from_db()
    assert item.state == "proposed"
    assert not PlannedMating.objects.exists()


def test_the_same_proposal_twice_is_said_and_a_mating_in_the_plan_is_kept(cast):
    item = proposed(cast)
    with pytest.raises(ValidationError, match="proposed for the season already"):
        proposed(cast)
    actions.accept_item(item=item, by=cast.keeper, version=item.version)
    again = actions.accept_item(item=(second := proposed(cast)), by=cast.keeper, version=second.version)
    assert again.mating == PlannedMating.objects.get()


def test_a_close_mating_is_cautioned_beside_the_proposal(cast):
    proposed(cast, animal=cast.daughter)
    text = page(cast, "keeper").content.decode()
    assert "A close mating:" in text
    assert "25\u00a0%" in text


def test_today_tells_an_owner_of_proposals_until_they_are_answered_and_of_looks_to_make(cast):
    today = timezone.localdate()
    item = proposed(cast, aim="look", animal=cast.daughter, why="Part the coat at the rump.")
    proposed(cast)
    (line,) = tasks([cast.herd], today)
    assert (line.title, line.state(today).name) == ("2 proposals for Ashgrove", "DUE")
    assert herd_of(line.key, cast.keeper) == cast.herd
    assert herd_of(line.key, cast.mentor) is None
    actions.accept_item(item=item, by=cast.keeper, version=item.version)
    assert [line.title for line in tasks([cast.herd], today)] == [
        "1 proposal for Ashgrove",
        f"Look at {cast.daughter} again",
    ]
    make_look(cast.daughter, cast.keeper)
    assert [line.title for line in tasks([cast.herd], today)] == ["1 proposal for Ashgrove"]
    assert not list(tasks([cast.other_herd], today))


@pytest.mark.parametrize("key", ["season_answer-", "season_answer-x", "season_look-99999999999999999999"])
def test_a_line_of_nobody_is_put_aside_by_nobody(cast, key):
    assert herd_of(key, cast.keeper) is None


def test_a_mentor_takes_a_proposal_back_and_the_owner_does_not_see_it_any_more(cast):
    item = proposed(cast)
    client = cast.client_of("mentor")
    assert client.post(reverse("season-withdraw", args=[item.pk])).status_code == 302
    assert client.post(reverse("season-withdraw", args=[item.pk])).status_code == 302
    assert MATING not in page(cast, "keeper").content.decode()
    assert proposed(cast).pk != item.pk


def test_the_way_to_the_page_stands_where_its_readers_stand(cast):
    url = reverse("barn", args=[cast.herd.slug])
    for who, leads in (("keeper", True), ("mentor", True), ("fellow", False), ("revoked_mentor", False)):
        assert (url in cast.client_of(who).get(cast.herd.get_absolute_url()).content.decode()) is leads, who
    assert url in cast.client_of("mentor").get(reverse("grant-list")).content.decode()


def test_the_database_keeps_items_whole(cast):
    item = proposed(cast)
    for wrong in ({"buck": None}, {"why": ""}, {"state": "accepted"}, {"aim": "keep"}, {"answer": "yes"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            SeasonItem.objects.filter(pk=item.pk).update(**wrong)
