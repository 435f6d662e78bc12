"""What the database keeps of points sheets and weight tables: the rules that hold whoever writes."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from clubsite.constraints import rules_explained
from grading.actions.points import save_points
from grading.models import (
    AgeClass,
    Basis,
    BreedProfile,
    FindingKind,
    PointsSheet,
    Position,
    Trait,
    WeightBand,
)
from herds.models import Breed

from .factories import make_animal
from .looking import begin

pytestmark = pytest.mark.django_db


@pytest.fixture
def look(cast):
    return begin(cast)


@pytest.fixture
def central(cast):
    """An open look of the keeper's by the Central European schedule."""
    breed = Breed.objects.get(slug="central-european-silvered")
    return begin(cast, animal=make_animal(cast.herd, "C1", sex="doe", breed=breed))


def place_of(look, code):
    return look.profile.positions.get(code=code).pk


@pytest.mark.parametrize(
    ("code", "points", "sentence"),
    [
        ("undercolor", "15.5", "This position has fewer points."),
        ("undercolor", "-0.5", "This position has fewer points."),
        ("undercolor", "14.3", "not given in such small steps"),
        ("weight", "8", "come from the weight table"),
    ],
)
def test_the_database_refuses_what_the_schedule_does_not_allow(cast, central, code, points, sentence):
    with pytest.raises(ValidationError, match=sentence):
        save_points(look=central, by=cast.keeper, lines=[(place_of(central, code), Decimal(points), "")])
    assert not PointsSheet.objects.exists()


def test_a_position_with_parts_and_one_of_another_schedule_are_refused(cast, look, central):
    with pytest.raises(ValidationError, match="sum of its parts"):
        save_points(look=look, by=cast.keeper, lines=[(place_of(look, "general_type"), Decimal(40), "")])
    with pytest.raises(ValidationError, match="another schedule"):
        save_points(look=look, by=cast.keeper, lines=[(place_of(central, "type"), Decimal(10), "")])


@pytest.fixture
def draft(cast):
    """An edition that is not published, with a position for weight of 10 points."""
    breed = Breed.objects.get(slug="central-european-silvered")
    profile = BreedProfile.objects.create(
        breed=breed, association="Invented association", name="Draft", edition="1", in_force_from=date(2030, 1, 1)
    )
    Position.objects.create(profile=profile, code="weight", name="Weight", points=10, by_weight=True)
    return profile


BANDS = [
    ([(3500, 3699), (3700, 3899)], ""),
    ([(3500, 3700), (3700, 3899)], "overlap"),
    ([(3500, None), (9000, 9100)], "overlap"),
    ([(3500, 3600), (3000, None)], "overlap"),
    ([(3700, 3600)], "cannot be over its highest"),
]


@pytest.mark.parametrize(("bands", "sentence"), BANDS, ids=range(len(BANDS)))
def test_bands_of_a_group_stand_apart(draft, bands, sentence):
    def write():
        with rules_explained():
            for lowest, highest in bands:
                WeightBand.objects.create(profile=draft, lowest_grams=lowest, highest_grams=highest, points=5)

    if sentence:
        with pytest.raises(ValidationError, match=sentence):
            write()
    else:
        write()
        assert draft.weight_bands.count() == 2


def test_bands_of_other_classes_and_sexes_may_overlap(draft):
    junior = AgeClass.objects.create(profile=draft, code="junior", name="Junior")
    for group in ({}, {"sex": "doe"}, {"age_class": junior}, {"age_class": junior, "sex": "doe"}):
        WeightBand.objects.create(profile=draft, lowest_grams=3500, highest_grams=4000, points=5, **group)
    with pytest.raises(ValidationError, match="overlap"), rules_explained():
        WeightBand.objects.create(profile=draft, lowest_grams=3999, points=5, age_class=junior, sex="doe")
    with pytest.raises(ValidationError, match="more points than the position"), rules_explained():
        WeightBand.objects.create(profile=draft, lowest_grams=100, highest_grams=200, points=11)
    other = AgeClass.objects.exclude(profile=draft).first()
    with pytest.raises(ValidationError, match="another edition"), rules_explained():
        WeightBand.objects.create(profile=draft, lowest_grams=100, highest_grams=200, points=5, age_class=other)


def test_a_position_keeps_its_steps_and_only_one_takes_the_weight(draft):
    for given, sentence in (
        ({"points": Decimal("7.5")}, "reachable in its own steps"),
        ({"points": 10, "step": Decimal("0.2")}, "whole or in half points"),
        ({"points": 10, "by_weight": True}, "Only one position"),
    ):
        with pytest.raises(ValidationError, match=sentence), rules_explained():
            Position.objects.create(profile=draft, code="fur", name="Fur", **given)
    Position.objects.create(profile=draft, code="fur", name="Fur", points=Decimal("7.5"), step=Decimal("0.5"))


def test_what_stands_behind_a_position_is_one_trait_or_one_finding_once(draft):
    place, trait = draft.positions.get(), Trait.objects.first()
    Basis.objects.create(position=place, trait=trait)
    with pytest.raises(ValidationError, match="already stands behind"), rules_explained():
        Basis.objects.create(position=place, trait=trait)
    for both in ({}, {"trait": trait, "finding": FindingKind.objects.first()}):
        with pytest.raises(ValidationError, match="one in each row"), rules_explained():
            Basis.objects.create(position=place, **both)


def test_bands_and_bases_of_a_published_edition_stay():
    profile = BreedProfile.objects.get(breed__slug="central-european-silvered")
    for row in (profile.weight_bands.first(), Basis.objects.filter(position__profile=profile).first()):
        with pytest.raises(ValidationError, match="This edition is published"), rules_explained():
            row.delete()
    with pytest.raises(ValidationError, match="This edition is published"), rules_explained():
        WeightBand.objects.create(profile=profile, lowest_grams=9000, points=1)
