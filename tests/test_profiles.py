"""The shipped breed profile, and the age classes that follow from a profile."""

from datetime import date

import pgtrigger
import pytest

from grading.ages import age_class_of, class_at, whole_months
from grading.models import BreedProfile, FindingKind, ProfileFinding, ProfileTrait, StepText, Trait, WeightClass
from grading.profiles import load_shipped
from herds.models import Animal

pytestmark = pytest.mark.django_db


@pytest.fixture
def shipped(db):
    return BreedProfile.objects.get(association="Unofficial example")


def test_a_new_database_holds_the_shipped_profile_marked_unofficial(shipped):
    assert not shipped.official
    assert shipped.published_at is not None
    assert BreedProfile.in_force(shipped.breed, date(2026, 11, 25)) == shipped


def test_loading_again_adds_nothing_and_changes_nothing(shipped):
    with pgtrigger.ignore("grading.StepText:kept_once_published"):
        StepText.objects.filter(trait__profile=shipped, step=1).update(words="The club's own words")
    Trait.objects.filter(code="surface_shade").update(name="The club's own name")
    before = [model.objects.count() for model in (BreedProfile, Trait, StepText, FindingKind, ProfileFinding)]
    load_shipped()
    assert [model.objects.count() for model in (BreedProfile, Trait, StepText, FindingKind, ProfileFinding)] == before
    assert StepText.objects.filter(words="The club's own words").exists()
    assert Trait.objects.get(code="surface_shade").name == "The club's own name"


def test_points_add_up_to_the_total_and_parts_to_their_whole(shipped):
    wholes = shipped.positions.filter(parent=None)
    assert sum(position.points for position in wholes) == shipped.points_total == 100
    for whole in wholes.filter(parts__isnull=False).distinct():
        assert sum(part.points for part in whole.parts.all()) == whole.points


def test_color_weighs_as_much_as_hindquarters(shipped):
    # Common practice, no source: a schedule that makes colour a tie-breaker is wrong.
    points = dict(shipped.positions.values_list("code", "points"))
    assert points["color"] == points["hindquarters"] == 20
    assert points["general_type"] == 55


def test_every_trait_is_in_the_profile_with_five_described_steps(shipped):
    described = {}
    for code, step in shipped.traits.values_list("trait__code", "step_texts__step"):
        described.setdefault(code, set()).add(step)
    assert set(described) == set(Trait.objects.values_list("code", flat=True))
    assert all({1, 3, 5, 7, 9} <= steps for steps in described.values())
    assert {0, 10} <= described["undercolor_reach"]


def test_goals_and_described_steps_lie_on_the_scales(shipped):
    for row in shipped.traits.select_related("trait").prefetch_related("step_texts"):
        low, high = row.trait.scale_low, row.trait.scale_high
        assert low <= row.goal_low <= row.goal_high <= high, row
        if row.senior_low is not None:
            assert low <= row.senior_low <= row.senior_high <= high, row
        assert all(low <= text.step <= high for text in row.step_texts.all())
        assert row.why.endswith("."), row


def test_the_goal_is_a_bright_surface_over_a_dark_undercolor_to_the_skin(shipped):
    # Common practice, no source.
    goals = {row.trait.summary: row.goal_for("intermediate") for row in shipped.traits.select_related("trait")}
    middle = 5
    assert goals["surface"][0] > middle, "9 is nearly white: the goal is on the bright side"
    assert goals["undercolor"][0] > middle, "9 is nearly black: the goal is on the dark side"
    assert goals["reach"][1] == 10, "to the skin"


def test_seniors_get_leeway_for_faded_undercolor_but_not_for_a_washed_out_base(shipped):
    # Common practice, no source.
    for summary in ("undercolor", "reach"):
        row = shipped.traits.get(trait__summary=summary)
        assert row.goal_for("senior")[0] < row.goal_for("intermediate")[0]
        assert row.goal_for("senior")[0] > 5
    surface = shipped.traits.get(trait__summary="surface")
    assert surface.goal_for("senior") == surface.goal_for("junior")


def test_against_the_body_is_two_sided_around_the_same(shipped):
    two_sided = ProfileTrait.objects.filter(profile=shipped, trait__two_sided=True)
    assert {row.trait.code.split("_")[0] for row in two_sided} == {"ears", "feet", "tail", "muzzle"}
    assert all(row.goal_low <= 5 <= row.goal_high for row in two_sided)


def test_a_photo_cannot_show_what_only_hands_feel(shipped):
    hidden = set(Trait.objects.filter(photo_can_show=False).values_list("code", flat=True))
    assert {"flesh", "coat_density", "coat_texture", "hindquarter_fill"} <= hidden
    assert not {"surface_shade", "undercolor", "undercolor_reach"} & hidden


def test_undercolor_is_parted_at_three_places(shipped):
    for code in ("undercolor", "undercolor_reach"):
        assert Trait.objects.get(code=code).sites == ["shoulder", "loin", "rump"]


def test_stain_is_condition_while_white_spot_and_warm_cast_disqualify(shipped):
    # Common practice, no source; missing or illegible left mark: a breeder's page.
    effects = dict(shipped.findings.values_list("kind__code", "effect"))
    disqualify = {code for code, effect in effects.items() if effect == "disqualifies"}
    assert disqualify == {"white_spot", "warm_cast", "left_mark_missing", "left_mark_illegible"}
    assert effects["stain"] == effects["sun_fade"] == "note"
    assert set(effects) == set(FindingKind.objects.values_list("code", flat=True))


@pytest.mark.parametrize(
    ("age_class", "sex", "pounds"),
    [
        ("senior", "buck", (9, 10, 11)),
        ("senior", "doe", (9.5, 10.5, 12)),
        ("intermediate", "buck", (None, None, 10)),
        ("intermediate", "doe", (None, None, 10.5)),
        ("junior", "", (4.5, None, 9)),
    ],
)
def test_weight_classes_are_the_pounds_of_the_trade_in_grams(shipped, age_class, sex, pounds):
    # Pounds: a breeder's page. The pound is 0.45359237 kg by the international agreement of 1959.
    row = WeightClass.objects.get(age_class__profile=shipped, age_class__code=age_class, sex=sex)
    grams = (row.lowest_grams, row.ideal_grams, row.highest_grams)
    for weighed, wanted in zip(grams, pounds, strict=True):
        assert (weighed is None) == (wanted is None)
        if wanted is not None:
            assert weighed == pytest.approx(wanted * 453.59237, abs=0.5)


@pytest.mark.parametrize(
    ("born", "on", "months"),
    [
        (date(2026, 5, 10), date(2026, 11, 9), 5),
        (date(2026, 5, 10), date(2026, 11, 10), 6),
        (date(2026, 5, 10), date(2026, 5, 10), 0),
        (date(2025, 12, 31), date(2026, 1, 1), 0),
        (date(2025, 8, 31), date(2026, 2, 27), 5),
        (date(2025, 8, 31), date(2026, 2, 28), 6),
        (date(2024, 2, 29), date(2025, 2, 27), 11),
        (date(2024, 2, 29), date(2025, 2, 28), 12),
    ],
)
def test_months_count_when_they_are_whole(born, on, months):
    assert whole_months(born, on) == months


@pytest.mark.parametrize(
    ("on", "code"),
    [
        (date(2026, 5, 10), "junior"),
        (date(2026, 11, 9), "junior"),
        (date(2026, 11, 10), "intermediate"),
        (date(2027, 1, 9), "intermediate"),
        (date(2027, 1, 10), "senior"),
        (date(2031, 1, 1), "senior"),
    ],
)
def test_a_class_begins_on_the_day_its_months_are_complete(shipped, on, code):
    # Ages for breeds with an ideal of 9 lb and more: a club's page, read second-hand.
    animal = Animal(breed=shipped.breed, born_on=date(2026, 5, 10))
    assert age_class_of(animal, shipped, on).code == code


def test_without_a_birth_date_or_before_birth_there_is_no_class(shipped):
    assert age_class_of(Animal(breed=shipped.breed), shipped, date(2026, 1, 1)) is None
    assert age_class_of(Animal(breed=shipped.breed, born_on=date(2026, 2, 1)), shipped, date(2026, 1, 1)) is None


def test_no_class_fits_an_age_outside_every_class(shipped):
    assert class_at([], 7) is None
