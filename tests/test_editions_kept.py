"""What the database refuses: changes of a published edition, goals and steps off the scale, traits that looks use."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from grading.actions.editions import delete_trait
from grading.models import BreedProfile, FindingKind, StepText, Trait, WeightBand, WeightClass
from grading.profiles import load_shipped

from .edition_making import make_draft, shipped
from .factories import make_animal, make_look

pytestmark = pytest.mark.django_db


def refused(change):
    """The sentence with which the database refuses `change`."""
    with pytest.raises(ValidationError) as error, rules_explained():
        change()
    return " ".join(error.value.messages)


CHILDREN = {
    "a position": lambda p: p.positions.first(),
    "an age class": lambda p: p.age_classes.first(),
    "a weight class": lambda p: WeightClass.objects.filter(age_class__profile=p).first(),
    "a trait's goal": lambda p: p.traits.first(),
    "a described step": lambda p: StepText.objects.filter(trait__profile=p).first(),
    "a finding": lambda p: p.findings.first(),
}


@pytest.mark.parametrize("what", sorted(CHILDREN))
@pytest.mark.parametrize("how", ["save", "delete"])
def test_nothing_of_a_published_edition_is_changed_or_deleted(what, how):
    row = CHILDREN[what](shipped())
    assert "This edition is published, so it stays as it is" in refused(getattr(row, how))


def test_nothing_is_added_to_a_published_edition():
    edition, band = shipped(), {"lowest_grams": 3500, "points": 5}
    assert "published" in refused(lambda: edition.positions.create(code="more", name="More", points=5))
    assert "published" in refused(lambda: edition.age_classes.create(code="old", name="Old", from_months=60))
    assert "published" in refused(lambda: WeightBand.objects.create(profile=edition, **band))
    trait = edition.traits.first()
    assert "published" in refused(lambda: trait.step_texts.create(step=2, words="Between"))


@pytest.mark.parametrize(
    ("field", "value"),
    [("name", "Another"), ("edition", "2031"), ("points_total", 90), ("in_force_from", date(2001, 1, 1)),
     ("source", "Elsewhere"), ("official", True), ("published_at", timezone.now())],
)  # fmt: skip
def test_the_head_of_a_published_edition_stays(field, value):
    edition = shipped()
    setattr(edition, field, value)
    assert "This edition is published" in refused(edition.save)


def test_a_published_edition_may_only_be_ended(db):
    edition = shipped()
    edition.in_force_until = date(2030, 12, 31)
    with rules_explained():
        edition.save()
    edition.refresh_from_db()
    assert edition.in_force_until == date(2030, 12, 31)
    assert "published" in refused(edition.delete)


def test_an_edition_that_a_look_used_is_not_withdrawn_and_one_that_none_used_is(cast):
    make_look(cast.daughter, cast.keeper, profile=shipped())
    assert "Looks were graded by this edition" in refused(
        lambda: BreedProfile.objects.filter(pk=shipped().pk).update(published_at=None)
    )
    other = BreedProfile.objects.exclude(pk=shipped().pk).filter(published_at__isnull=False).first()
    with rules_explained():
        BreedProfile.objects.filter(pk=other.pk).update(published_at=None)
    assert not BreedProfile.objects.filter(pk=other.pk, published_at__isnull=False).exists()


def test_a_draft_that_looks_were_given_by_hand_stays_as_they_saw_it(cast):
    # No page makes such a look; whoever writes one into the database still finds its edition kept.
    draft = make_draft(cast.officer)
    make_look(cast.daughter, cast.keeper, profile=draft)
    assert "stays as it is" in refused(lambda: draft.traits.first().delete())


@pytest.mark.parametrize(("low", "high"), [(0, 5), (5, 10)])
def test_a_goal_outside_the_traits_scale_is_refused_in_a_sentence(cast, low, high):
    row = make_draft(cast.officer).traits.get(trait__code="surface_shade")
    row.goal_low, row.goal_high = low, high
    assert refused(row.save) == "The goal range must lie on the trait's scale."
    row.goal_low, row.goal_high, row.senior_low, row.senior_high = 7, 8, low, high
    assert refused(row.save) == "The goal range must lie on the trait's scale."


def test_reach_has_a_scale_of_tenths_so_ten_is_on_it(cast):
    row = make_draft(cast.officer).traits.get(trait__code="undercolor_reach")
    row.goal_low, row.goal_high = 0, 10
    with rules_explained():
        row.save()


def test_a_described_step_off_the_scale_is_refused(cast):
    row = make_draft(cast.officer).traits.get(trait__code="surface_shade")
    sentence = refused(lambda: row.step_texts.create(step=10, words="Beyond white"))
    assert sentence == "A described step must lie on the trait's scale."


def test_a_trait_of_a_published_edition_keeps_its_scale_and_places_though_not_its_name():
    trait = Trait.objects.get(code="undercolor")
    trait.name = "Undercolor"
    with rules_explained():
        trait.save()
    trait.scale_high = 5
    assert "its scale and its places stay as they are" in refused(trait.save)
    trait.scale_high, trait.sites = 9, ["loin"]
    assert "its scale and its places stay as they are" in refused(trait.save)


def test_deleting_a_trait_says_how_many_looks_use_it(cast):
    own = Trait.objects.create(
        code="toenails", name="Toenails", question="?", section=5, low_words="white", high_words="black"
    )
    make_look(cast.daughter, cast.keeper, steps={own: 5})
    make_look(cast.dam, cast.keeper, steps={own: 6})
    make_look(make_animal(cast.herd), cast.keeper)
    with pytest.raises(ValidationError) as error:
        delete_trait(trait=own, by=cast.officer)
    assert error.value.messages == ["2 looks used Toenails, so it stays. Leave it out of the next edition instead."]
    with pytest.raises(ValidationError) as error:
        delete_trait(trait=Trait.objects.get(code="bone"), by=cast.officer)
    assert "comes with Argentry and stays" in error.value.messages[0]


def test_the_shipped_profiles_are_loaded_whole_and_published_also_anew(db):
    before = BreedProfile.objects.count()
    BreedProfile.objects.update(published_at=None)
    BreedProfile.objects.all().delete()
    Trait.objects.filter(code="bone").delete()
    load_shipped()
    assert BreedProfile.objects.filter(published_at__isnull=False).count() == before >= 2
    assert all(edition.traits.filter(trait__code="bone").exists() for edition in BreedProfile.objects.all())
    assert FindingKind.objects.count() == shipped().findings.count()
