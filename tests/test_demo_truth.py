"""The truth that was built into the invented club is found by the model: leanings, the buck from abroad, the fade.

What is true stands in fixtures/demo (people.py, truth.py and the World's coats), nowhere in the database.
"""

from datetime import date

import numpy as np
import pytest

from fixtures.demo import build, people, truth
from grading import evaluation as model
from grading.models import Trait
from grading.running import reading, work
from herds.models import Animal

TODAY = date(2026, 11, 25)
pytestmark = [pytest.mark.slow, pytest.mark.django_db]
LEADING = ("surface", "undercolor")


class _TakeAway(Exception):
    pass


@pytest.fixture(scope="module")
def found(django_db_setup, django_db_blocker):
    """(World, Looks, {trait: work.Found}) of surface shade and undercolor, worked out once; the club is taken away."""
    from django.db import transaction

    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                world = build.build(today=TODAY, password="not used")
                looks = reading.read_looks(world.breed.pk)
                each = {
                    name: work.evaluate_trait(
                        looks,
                        reading.read_steps(looks, world.breed.pk, Trait.objects.get(summary=name).pk),
                        leading=True,
                        progress=None,
                    )
                    for name in LEADING
                }
                yield world, looks, each
                raise _TakeAway
        except _TakeAway:
            pass


@pytest.mark.parametrize(("place", "name"), [(0, "surface"), (1, "undercolor")])
def test_the_graders_leanings_are_found(found, place, name):
    world, _looks, each = found
    true, lean, error = [], [], []
    for person in people.PEOPLE:
        said = each[name].kept["trend"]["leans"].get(str(world.members[person.key].pk))
        if said and said[2] >= 100:  # who gave fewer looks is told too vaguely to be compared
            true.append(person.lean[place])
            lean.append(said[0])
            error.append(said[1])
    true, lean, error = np.array(true), np.array(lean), np.array(error)
    assert len(true) >= 8
    assert np.corrcoef(true, lean)[0, 1] > 0.9
    # A lean counts from the average look, and rounding and the ends of the scale shorten it a little.
    away = (lean - lean.mean()) - (true - true.mean())
    assert (np.abs(away) < 3 * error + 0.15).all(), list(zip(true, lean, error, strict=True))


def test_osric_is_found_to_pick_too_dark_and_linnet_to_be_lenient(found):
    world, _looks, each = found
    leans = each["surface"].kept["trend"]["leans"]
    osric, linnet = (leans[str(world.members[key].pk)] for key in ("osric", "linnet"))
    assert osric[0] + 1.96 * osric[1] < -0.4
    assert linnet[0] - 1.96 * linnet[1] > 0.4


def test_the_buck_from_abroad_is_found_to_break_the_trade_off(found):
    _world, looks, each = found
    buck = int(np.flatnonzero(looks.ids == Animal.objects.get(imported=True).pk)[0])
    for name in LEADING:
        merit, known = each[name].merit, each[name].reliability
        error = np.sqrt((1 - known[buck]) * each[name].kept["variances"]["animal"])
        others = merit[looks.of_breed].mean()
        assert merit[buck] - 1.645 * error > others, name  # with 95 % he stands above the breed's mean


@pytest.mark.parametrize(("place", "name"), [(0, "surface"), (1, "undercolor")])
def test_merits_go_with_the_true_breeding_values(found, place, name):
    world, looks, each = found
    row = {int(key): at for at, key in enumerate(looks.ids)}
    looked = set(looks.animal.tolist())
    keys = [key for key in world.coats if key in row and row[key] in looked]
    true = np.array([world.coats[key].value[place] for key in keys])
    merit = each[name].merit[[row[key] for key in keys]]
    assert np.corrcoef(true, merit)[0, 1] > 0.7


def test_the_fade_of_undercolor_in_the_seniors_is_found_by_the_ages(found):
    _world, _looks, each = found
    table = {int(key): value for key, value in each["undercolor"].kept["fixed"]["age"].items() if int(key) >= 3}
    years = np.array(sorted(table)) / 4
    steps, weights = np.array([table[int(4 * year)][0] for year in years]), [table[int(4 * year)][1] for year in years]
    slope = np.polyfit(years, steps, 1, w=np.sqrt(weights))[0]
    assert slope == pytest.approx(truth.SENIOR_FADE[1], abs=0.2)


def test_the_trade_off_between_surface_and_undercolor_is_found(found):
    world, looks, _each = found
    pair = [
        looks.records(reading.read_steps(looks, world.breed.pk, Trait.objects.get(summary=name).pk)) for name in LEADING
    ]
    genetic = model.estimate_covariances(*pair, looks.pedigree).animal_correlation
    assert genetic.high < 0
    assert genetic.low <= truth.CORRELATION[0, 1] <= genetic.high + 0.1
