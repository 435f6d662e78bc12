"""The invented club holds what it promises, and its records show the truth that was built in."""

from datetime import date

import numpy as np
import pytest
from django.db.models import Avg, F, Q

from clubsite.members.models import Club, Member
from fixtures.demo import build, people, truth
from grading.models import Look
from herds.models import Animal, Correction, Herd, Kit, Litter, Mark, Mating, Quarantine, Transfer

TODAY = date(2026, 11, 25)
pytestmark = [pytest.mark.slow, pytest.mark.django_db]


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker):
    """The club without photos, built once for this module and taken away after it."""
    from django.db import transaction

    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                yield build.build(today=TODAY, password="not used")
                raise _TakeAway
        except _TakeAway:
            pass


class _TakeAway(Exception):
    pass


def test_the_club_has_the_size_it_promises(world):
    assert Member.objects.count() == 12
    assert Herd.objects.count() == 9
    assert 800 <= Animal.objects.count() <= 1000
    assert 2700 <= Look.objects.count() <= 3300
    assert Animal.objects.filter(born_on__gt=date(2020, 12, 1)).dates("born_on", "year").count() >= 6
    assert Club.current().is_demo


def test_nobody_in_it_can_be_a_person(world):
    # RFC 2606 reserves .example: no address under it belongs to anybody.
    assert all(member.email.endswith(".example") for member in Member.objects.all())


@pytest.mark.parametrize(
    "rows",
    [
        Litter.objects.filter(sire__isnull=True),
        Correction.objects.filter(field="sex"),
        Mark.objects.filter(replaced_by__isnull=False),
        Transfer.objects.filter(outcome="accepted"),
        Transfer.objects.filter(outcome="open"),
        Kit.objects.filter(fostered_to__isnull=False),
        Kit.objects.filter(white_at=["head"]),
        Animal.objects.filter(imported=True),
        Look.objects.filter(supersedes__isnull=False),
        Look.objects.filter(disqualified=True),
        Look.objects.filter(provisional=True),
        Quarantine.objects.filter(ended_on__isnull=True),
        Mating.objects.filter(mated_on=date(2026, 11, 13)),
        Herd.objects.filter(grants__revoked_at__isnull=False),
        Member.objects.filter(guardian__isnull=False),
    ],
    ids=lambda rows: f"{rows.model.__name__} {rows.query.where}"[:60],
)
def test_the_awkward_cases_are_there(world, rows):
    assert rows.all().exists()


def test_no_parent_is_of_the_wrong_sex_or_too_young(world):
    assert not Animal.objects.filter(Q(sire__sex="doe") | Q(dam__sex="buck")).exists()
    children = Animal.objects.filter(born_on__isnull=False)
    for parent in ("sire", "dam"):
        ages = children.filter(**{f"{parent}__isnull": False}).annotate(gap=F("born_on") - F(f"{parent}__born_on"))
        assert min(age for age in ages.values_list("gap", flat=True)).days >= 133


def test_the_summary_of_a_look_is_the_mean_of_its_answers(world):
    for look in Look.objects.filter(supersedes__isnull=True).order_by("pk")[:50]:
        for name in ("surface", "undercolor", "reach"):
            mean = look.answers.filter(trait__summary=name).aggregate(mean=Avg("step"))["mean"]
            assert getattr(look, name) == (None if mean is None else pytest.approx(float(mean)))


def test_the_graders_leanings_can_be_seen_in_their_looks(world):
    """Each grader's mean difference from the built-in truth, in steps, is near the leaning that was built in."""
    by_name = {person.name: person for person in people.PEOPLE}
    rows = Look.objects.filter(mode="in_hand", supersedes__isnull=True, surface__isnull=False)
    off: dict = {}
    for look in rows.select_related("observer"):
        steps = truth.seen(world.coats[look.animal_id], look.age_days, look.coat_stage)
        if 2 < steps[0] < 8:  # away from the ends of the scale, where a step cannot lean further
            off.setdefault(look.observer.name, []).append(look.surface - steps[0])
    for name in ("Perpetua Strand", "Osric Dunnable", "Linnet Farraway"):
        mean, error = np.mean(off[name]), np.std(off[name]) / len(off[name]) ** 0.5
        assert abs(mean - by_name[name].lean[0]) < 4 * error + 0.1


def test_undercolor_fades_in_the_seniors(world):
    prime = Look.objects.filter(coat_stage="prime", undercolor__isnull=False)
    young = prime.filter(age_days__range=(245, 400)).aggregate(mean=Avg("undercolor"))["mean"]
    old = prime.filter(age_days__gt=1100).aggregate(mean=Avg("undercolor"))["mean"]
    assert old < young - 0.4


def test_the_buck_from_abroad_throws_bright_kits_that_are_dark_below(world):
    buck = Animal.objects.get(imported=True)
    others = Look.objects.filter(coat_stage="prime").exclude(animal__sire=buck)
    his = Look.objects.filter(coat_stage="prime", animal__sire=buck)
    for name in ("surface", "undercolor"):
        assert his.aggregate(mean=Avg(name))["mean"] > others.aggregate(mean=Avg(name))["mean"] + 0.15


def test_the_same_seed_and_day_give_the_same_club(world):
    """The figures a rebuild must repeat; a second build in the same run would take as long again."""
    first = Look.objects.order_by("pk").values_list("surface", "undercolor")[:200]
    again = np.random.default_rng(build.SEED)
    founder = truth.founder(again, "slate")
    stored = next(iter(world.coats.values()))
    np.testing.assert_array_equal(founder.value, stored.value)
    assert len(first) == 200
