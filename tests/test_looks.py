"""Making a look: beginning, answering, finding, finishing, superseding, and what the database refuses."""

from datetime import date, datetime, timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from grading.actions import looks as actions
from grading.look_sheet import LookSheet
from grading.models import Answer, BreedProfile, FindingKind, Look, LookFinding, Trait
from herds.models import Weight

from .factories import make_animal, make_look
from .looking import begin, day_passes

pytestmark = pytest.mark.django_db


@pytest.fixture
def look(cast):
    """The keeper's open look of the daughter, in hand."""
    return begin(cast)


def trait(code):
    return Trait.objects.get(code=code)


def answer(look, code, step, site="", **given):
    return actions.save_answers(look=look, answers=[(trait(code), site, step)], by=look.observer, **given)


def sentence_of(error):
    return " ".join(error.value.messages)


# --- beginning


def test_a_look_stores_what_the_evaluation_needs(cast):
    look = begin(cast, by=cast.mentor)
    look.refresh_from_db()
    assert look.herd == cast.herd
    assert look.role == "mentor"
    assert look.age_days == 300
    assert look.age_class.code == "senior"
    assert look.profile == BreedProfile.in_force(cast.daughter.breed, timezone.localdate())
    assert look.observed_on == timezone.localdate()
    assert (look.mode, look.light) == ("in_hand", "open_shade")
    assert look.provisional
    assert not look.trained
    assert not look.current


def test_the_keepers_own_look_is_the_keepers(cast):
    assert begin(cast).role == "keeper"


def test_a_grader_with_a_current_result_looks_as_trained(cast):
    cast.keeper.grader_until = timezone.localdate() - timedelta(days=10)
    assert not begin(cast).trained
    assert begin(cast, mode="photo", observed_on=timezone.localdate() - timedelta(days=10)).trained


def test_a_look_on_paper_counts_the_age_on_its_own_day(cast):
    look = begin(cast, observed_on=timezone.localdate() - timedelta(days=60))
    assert look.age_days == 240


@pytest.mark.parametrize(
    ("days", "words"),
    [(1, "lies in the future"), (-61, "can be entered for 60 days"), (-301, "was born on")],
)
def test_impossible_days_are_refused_with_a_sentence(cast, days, words):
    with pytest.raises(ValidationError) as error:
        begin(cast, observed_on=timezone.localdate() + timedelta(days=days))
    assert words in sentence_of(error)
    assert list(error.value.message_dict) == ["observed_on"]


def test_without_a_profile_in_force_nobody_can_grade(cast):
    BreedProfile.objects.all().update(published_at=None)
    with pytest.raises(ValidationError) as error:
        begin(cast)
    assert "no breed profile" in sentence_of(error)


def test_two_open_looks_of_one_animal_are_refused(cast, look):
    with pytest.raises(ValidationError) as error:
        begin(cast)
    assert sentence_of(error) == "You have an unfinished look of this animal. Finish it first."
    assert begin(cast, mode="photo"), "from photos is another look"


def test_a_look_left_open_is_closed_as_it_stood_when_the_next_begins(cast, look):
    answer(look, "surface_shade", 7)
    day_passes(look)
    begin(cast, animal=cast.dam)
    look.refresh_from_db()
    assert look.current
    assert look.finished_at == look.editable_until
    assert look.surface == 7


def test_a_look_left_open_without_an_answer_goes(cast, look):
    day_passes(look)
    begin(cast)
    assert not Look.objects.filter(pk=look.pk).exists()


def test_a_look_can_be_changed_until_midnight_or_four_hours_for_one_begun_at_night():
    noon = timezone.make_aware(datetime(2026, 5, 10, 12))
    night = timezone.make_aware(datetime(2026, 5, 10, 22, 30))
    assert actions.end_of_day(noon) == timezone.make_aware(datetime(2026, 5, 11))
    assert actions.end_of_day(night) == timezone.make_aware(datetime(2026, 5, 11, 2, 30))


# --- answering


def test_a_second_send_changes_nothing(look):
    for _ in range(2):
        assert answer(look, "surface_shade", 7) == 1
    assert list(look.answers.values_list("step", "cannot_tell")) == [(7, False)]


def test_the_last_answer_wins(look):
    answer(look, "surface_shade", 7)
    answer(look, "surface_shade", None)
    answer(look, "surface_shade", 6)
    assert look.answers.get().step == 6


def test_a_retry_that_arrives_late_does_not_overwrite_what_was_chosen_later(look):
    now = timezone.now()
    answer(look, "surface_shade", 6, given_at=now - timedelta(seconds=5))
    assert answer(look, "surface_shade", 8, given_at=now - timedelta(seconds=9)) == 0
    assert look.answers.get().step == 6


def test_a_page_whose_clock_runs_ahead_does_not_block_later_answers(look):
    answer(look, "surface_shade", 6, given_at=timezone.now() + timedelta(days=1))
    answer(look, "surface_shade", 7)
    assert look.answers.get().step == 7


def test_summaries_are_means_over_the_places_and_cannot_tell_is_no_number(look):
    for site, step in (("shoulder", 8), ("loin", 6), ("rump", None)):
        answer(look, "undercolor", step, site)
    look.refresh_from_db()
    assert look.undercolor == 7
    assert look.reach is None


def test_the_same_at_the_other_places_leaves_answered_places_alone(look):
    answer(look, "undercolor", 4, "loin")
    places = [(trait("undercolor"), site, 7) for site in ("shoulder", "loin", "rump")]
    assert actions.save_answers(look=look, answers=places, by=look.observer, only_missing=True) == 2
    assert dict(look.answers.values_list("site", "step")) == {"shoulder": 7, "loin": 4, "rump": 7}


@pytest.mark.parametrize(
    ("code", "site", "step", "words"),
    [
        ("surface_shade", "", 0, "not on the trait's scale"),
        ("surface_shade", "", 10, "not on the trait's scale"),
        ("undercolor_reach", "loin", 11, "not on the trait's scale"),
        ("surface_shade", "loin", 5, "not graded at that place"),
        ("undercolor", "", 5, "not graded at that place"),
        ("undercolor", "belly", 5, "not graded at that place"),
    ],
)
def test_the_database_refuses_what_is_off_the_scale_or_at_no_place(look, code, site, step, words):
    with pytest.raises(ValidationError) as error:
        answer(look, code, step, site)
    assert words in sentence_of(error)
    assert not look.answers.exists()


def test_reach_goes_from_nought_to_ten_tenths(look):
    answer(look, "undercolor_reach", 0, "loin")
    answer(look, "undercolor_reach", 10, "rump")
    look.refresh_from_db()
    assert look.reach == 5


def test_a_look_from_photos_is_locked_out_of_what_only_hands_feel(cast):
    look = begin(cast, mode="photo")
    with pytest.raises(ValidationError) as error:
        answer(look, "flesh", 5)
    assert sentence_of(error) == "A photo cannot show this. Grade it with the animal in hand."
    answer(look, "surface_shade", 7)
    assert look.answers.count() == 1


def test_one_refused_answer_of_several_saves_none(look):
    both = [(trait("surface_shade"), "", 7), (trait("surface_cast"), "", 10)]
    with pytest.raises(ValidationError):
        actions.save_answers(look=look, answers=both, by=look.observer)
    assert not look.answers.exists()


def test_only_the_observer_changes_a_look(cast, look):
    with pytest.raises(PermissionDenied):
        actions.save_answers(look=look, answers=[(trait("surface_shade"), "", 7)], by=cast.co_owner)
    with pytest.raises(PermissionDenied):
        actions.finish_look(look=look, by=cast.co_owner)


def test_saving_one_answer_is_one_statement(look, django_assert_num_queries):
    surface = trait("surface_shade")
    with django_assert_num_queries(3):  # savepoint, upsert, release
        actions.save_answers(look=look, answers=[(surface, "", 7)], by=look.observer)


# --- after its day, whoever writes


def test_the_database_refuses_answers_after_the_day(look):
    answer(look, "surface_shade", 7)
    day_passes(look)
    for write in (
        lambda: Answer.objects.filter(look=look).update(step=8),
        lambda: Answer.objects.filter(look=look).delete(),
        lambda: Answer.objects.create(look=look, trait=trait("surface_cast"), step=3),
        lambda: LookFinding.objects.create(look=look, kind=FindingKind.objects.first()),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            write()
    with pytest.raises(ValidationError) as error:
        answer(look, "surface_shade", 8)
    assert sentence_of(error).startswith("The day of this look is over")
    assert look.answers.get().step == 7


@pytest.mark.parametrize(
    "change",
    [
        {"observed_on": date(2020, 1, 1)},
        {"mode": "photo"},
        {"light": "sun"},
        {"coat_stage": "prime"},
        {"silvering_complete": True},
        {"grams": 4000},
        {"note": "afterwards"},
        {"disqualified": True},
        {"surface": 9.0},
        {"trained": True},
    ],
    ids=lambda change: next(iter(change)),
)
def test_the_database_refuses_to_change_a_look_after_its_day(look, change):
    day_passes(look)
    with pytest.raises(IntegrityError), transaction.atomic():
        Look.objects.filter(pk=look.pk).update(**change)


def test_the_database_refuses_two_answers_in_one_and_none_at_all(look):
    for step, cannot_tell in ((5, True), (None, False)):
        with pytest.raises(IntegrityError), transaction.atomic():
            Answer.objects.create(look=look, trait=trait("surface_shade"), step=step, cannot_tell=cannot_tell)


def test_the_database_refuses_a_current_look_that_is_not_finished(look):
    with pytest.raises(IntegrityError), transaction.atomic():
        Look.objects.filter(pk=look.pk).update(current=True)


# --- findings and facts


def find(look, code, state, *places):
    kind = FindingKind.objects.get(code=code)
    actions.save_finding(look=look, kind=kind, state=state, places=places, by=look.observer)
    look.refresh_from_db()


def test_a_white_spot_disqualifies_and_its_taking_back_does_not(look):
    find(look, "white_spot", "seen", "belly", "feet")
    assert look.disqualified
    assert look.findings.get().place == "belly, feet"
    find(look, "stain", "seen", "feet")
    assert look.disqualified
    find(look, "white_spot", "not_seen")
    assert not look.disqualified
    assert look.findings.get(kind__code="white_spot").place == ""


def test_stain_is_noted_and_does_not_disqualify(look):
    find(look, "stain", "seen", "feet")
    assert not look.disqualified


def test_an_unknown_place_or_state_is_refused(look):
    for state, places in (("seen", ["elsewhere"]), ("perhaps", [])):
        with pytest.raises(ValidationError):
            find(look, "white_spot", state, *places)
    assert not look.findings.exists()


@pytest.mark.parametrize(
    ("stage", "complete", "provisional"),
    [
        ("prime", True, False),
        ("prime", False, True),
        ("prime", None, True),
        ("adult_molt", True, True),
        ("past_prime", True, True),
        ("", True, True),
    ],
)
def test_a_look_is_provisional_until_silvering_is_complete_and_the_coat_prime(look, stage, complete, provisional):
    actions.save_facts(look=look, by=look.observer, coat_stage=stage, silvering_complete=complete)
    look.refresh_from_db()
    assert look.provisional is provisional


# --- finishing


def test_finishing_twice_changes_nothing(cast, look):
    first = actions.finish_look(look=look, by=cast.keeper)
    again = actions.finish_look(look=look, by=cast.keeper)
    assert first.current
    assert again.finished_at == first.finished_at


def test_the_keepers_look_tells_the_animal_when_silvering_was_first_complete(cast, look):
    actions.save_facts(look=look, by=cast.keeper, silvering_complete=True)
    cast.daughter.refresh_from_db()
    assert cast.daughter.silver_complete_on is None, "only when the look is finished"
    actions.finish_look(look=look, by=cast.keeper)
    cast.daughter.refresh_from_db()
    assert cast.daughter.silver_complete_on == look.observed_on
    assert begin(cast, animal=cast.daughter).silvering_complete is True, "the next look knows"


def test_a_mentors_look_leaves_the_herds_own_log_alone(cast):
    look = begin(cast, by=cast.mentor)
    actions.save_facts(look=look, by=cast.mentor, silvering_complete=True, grams=4200)
    actions.finish_look(look=look, by=cast.mentor)
    cast.daughter.refresh_from_db()
    assert cast.daughter.silver_complete_on is None
    assert not Weight.objects.exists()


def test_the_keepers_weight_stands_in_the_herds_log_once(cast, look):
    actions.save_facts(look=look, by=cast.keeper, grams=4200)
    actions.finish_look(look=look, by=cast.keeper)
    look.refresh_from_db()
    actions.save_facts(look=look, by=cast.keeper, grams=4250)
    assert list(Weight.objects.values_list("animal", "grams")) == [(cast.daughter.pk, 4250)]


def test_a_weight_that_somebody_else_logged_that_day_stays(cast, look):
    Weight.objects.create(animal=cast.daughter, herd=cast.herd, grams=4000, logged_by=cast.co_owner)
    actions.save_facts(look=look, by=cast.keeper, grams=4200)
    actions.finish_look(look=look, by=cast.keeper)
    assert Weight.objects.get().grams == 4000


def test_a_look_begun_by_mistake_can_be_taken_back_until_it_is_finished(cast, look):
    answer(look, "surface_shade", 7)
    actions.remove_look(look=look, by=cast.keeper)
    assert not Look.objects.exists()
    other = begin(cast)
    finished = actions.finish_look(look=other, by=cast.keeper)
    with pytest.raises(ValidationError):
        actions.remove_look(look=finished, by=cast.keeper)


# --- superseding


def test_superseding_needs_a_reason_and_takes_effect_when_finished(cast):
    old = make_look(cast.daughter, cast.keeper, editable_until=timezone.now() + timedelta(hours=1))
    with pytest.raises(ValidationError) as error:
        supersede(old, "Mixed up")
    assert "still be changed today" in sentence_of(error)
    day_passes(old)
    with pytest.raises(ValidationError) as error:
        supersede(old, "  ")
    assert "Say why" in sentence_of(error)
    new = supersede(old, "Steps mixed up")
    old.refresh_from_db()
    assert old.current
    assert not new.answers.exists(), "nothing is copied"
    actions.finish_look(look=new, by=cast.keeper)
    old.refresh_from_db()
    new.refresh_from_db()
    assert not old.current
    assert new.current
    assert new.reason == "Steps mixed up"


def test_a_look_is_superseded_once(cast):
    old = make_look(cast.daughter, cast.keeper)
    day_passes(old)
    actions.finish_look(look=supersede(old, "Steps mixed up"), by=cast.keeper)
    with pytest.raises(ValidationError) as error:
        supersede(old, "Again")
    assert "already supersedes this one" in sentence_of(error)


def test_others_looks_stay(cast):
    old = make_look(cast.daughter, cast.mentor)
    day_passes(old)
    with pytest.raises(PermissionDenied):
        supersede(old, "I know better", by=cast.keeper)


def test_the_database_refuses_to_supersede_without_a_reason(cast):
    old = make_look(cast.daughter, cast.keeper)
    with pytest.raises(IntegrityError), transaction.atomic():
        make_look(cast.daughter, cast.keeper, supersedes=old)


def supersede(old, reason, by=None):
    return actions.supersede_look(look=old, reason=reason, mode="in_hand", light="open_shade", by=by or old.observer)


# --- what the screen knows


def test_the_goal_is_on_the_scale_only_after_a_step_was_chosen(look):
    def goal():
        scale = next(
            group["scale"] for group in LookSheet(look, 1).groups() if group["scale"]["name"] == "surface_shade"
        )
        return scale["chosen"], scale["goal_low"], scale["goal_high"]

    assert goal() == (False, None, None)
    answer(look, "surface_shade", None)
    assert goal() == (False, None, None), "cannot tell is no choice"
    answer(look, "surface_shade", 4)
    assert goal() == (True, 7, 8)


def test_seniors_see_their_leeway(cast):
    for animal, low in ((cast.dam, 6), (young(cast), 7)):
        look = begin(cast, animal=animal)
        answer(look, "undercolor", 5, "loin")
        group = next(group for group in LookSheet(look, 3).groups() if group["trait"].code == "undercolor")
        assert [scale["goal_low"] for scale in group["scales"]] == [None, low, None]


def young(cast):
    return make_animal(cast.herd, born_on=timezone.localdate() - timedelta(days=100))


def test_progress_counts_what_can_be_asked(cast, look):
    assert [each["asked"] for each in LookSheet(look).progress()] == [7, 5, 6, 13, 3]
    photo = begin(cast, mode="photo")
    hidden = Trait.objects.filter(section=4, photo_can_show=False).count()
    assert [each["asked"] for each in LookSheet(photo).progress()] == [7, 5, 6, 13 - hidden, 2]
    answer(look, "surface_shade", None)
    first = LookSheet(look, 1).progress()[0]
    assert (first["answered"], first["open"]) == (1, 6)
    assert first["first_open"].endswith("#scale-even_front_back")


def test_the_offer_to_copy_names_the_places_still_open(look):
    def offer():
        return next(group["same"] for group in LookSheet(look, 3).groups() if group["trait"].code == "undercolor")

    assert offer() is None
    answer(look, "undercolor", 7, "shoulder")
    assert (offer()["step"], offer()["where"]) == (7, "loin and rump")
    answer(look, "undercolor", None, "loin")
    assert offer()["where"] == "rump"
    answer(look, "undercolor", 6, "rump")
    assert offer() is None
