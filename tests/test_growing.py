"""The grown registry keeps every rule of the data, is the same for the same seed, and holds a truth to be seen."""

from datetime import date

import numpy as np
import pytest
from django.db import connection, transaction
from django.utils import timezone

from fixtures.demo import truth
from fixtures.growing import coats, grow, looks, pedigree, rules
from grading.ages import whole_months
from grading.models import Answer, Look
from herds.models import Animal, Mark

pytestmark = pytest.mark.django_db  # also for `grown`: without a mark no test database is made
SIZE = 2_000


@pytest.fixture(scope="module")
def grown(django_db_setup, django_db_blocker):
    """A registry of 2,000 animals, grown once for this file and rolled back after it."""
    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                grow.grow(
                    today=timezone.localdate(), count=SIZE, looks_each=5, seed=7, password="-", write=lambda line: None
                )
                yield
                transaction.set_rollback(True)
        finally:
            connection.close()


@pytest.fixture
def registry(grown, db):
    """That registry; what a test changes is undone after it."""


def fetch(query):
    with connection.cursor() as cursor:
        cursor.execute(query)
        return np.array(cursor.fetchall(), dtype=float)


def test_it_holds_as_many_animals_and_looks_as_were_asked_for(registry):
    assert Animal.objects.count() == SIZE
    assert Look.objects.count() == SIZE * 5
    assert 20 < Answer.objects.count() / Look.objects.count() < 28
    assert Mark.objects.filter(kind="left_ear").count() == SIZE


def test_every_rule_of_the_data_holds(registry):
    assert rules.broken() == {}


# Each change breaks the rule named; it is undone after, so that the rules are known to be able to fail.
BREAKS = {
    "a sire is no doe, a dam no buck": """
        UPDATE herds_animal SET sex = 'doe' WHERE id = (SELECT min(sire_id) FROM herds_animal)""",
    "a parent is four months older": """
        UPDATE herds_animal SET born_on = born_on + 3000 WHERE id = (SELECT min(dam_id) FROM herds_animal)""",
    "nobody is their own ancestor": """
        UPDATE herds_animal p SET dam_id = c.id FROM herds_animal c
        WHERE c.id = (SELECT max(id) FROM herds_animal WHERE dam_id IS NOT NULL) AND p.id = c.dam_id""",
    "a look's sums are the means of its answers": """
        UPDATE grading_look SET undercolor = undercolor + 0.01 WHERE id % 97 = 0""",
    "a kit for every one born alive": "UPDATE herds_litter SET born_alive = born_alive + 1 WHERE id % 97 = 0",
    "a look stands in its day's herd": "UPDATE herds_transfer SET to_herd_id = from_herd_id + 1",
    "the card shows the left-ear mark": "UPDATE herds_animal SET mark_text = 'other' WHERE id % 97 = 0",
    "everybody has a row for their inbreeding": "DELETE FROM pedigrees_inbreeding WHERE animal_id % 97 = 0",
}


@pytest.mark.parametrize("rule", BREAKS)
def test_a_broken_rule_is_found(registry, rule):
    with transaction.atomic(), connection.cursor() as cursor:
        for table in ("herds_animal", "grading_look", "herds_litter", "herds_transfer"):
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        cursor.execute(BREAKS[rule])
        assert rule in rules.broken()
        transaction.set_rollback(True)
    assert connection.needs_rollback is False


def test_the_database_takes_the_same_rows_with_its_triggers_on(registry):
    """The triggers themselves, asked again about every card, mark, mating, litter, kit and weight."""
    touched = {
        "herds_animal": "sire_id = sire_id, dam_id = dam_id, status_on = status_on",
        "herds_mark": "issued_on = issued_on",
        "herds_mating": "mated_on = mated_on",
        "herds_matingevent": '"on" = "on"',
        "herds_litter": "born_on = born_on",
        "herds_litterevent": '"on" = "on"',
        "herds_kit": "died_on = died_on",
        "herds_weight": '"on" = "on"',
        "herds_decision": "decided_on = decided_on",
    }
    with transaction.atomic(), connection.cursor() as cursor:
        for table, change in touched.items():
            cursor.execute(f"UPDATE {table} SET {change} WHERE id % 7 = 0")  # noqa: S608 - our own names
            assert cursor.rowcount > 0
        transaction.set_rollback(True)


def test_graders_differ_and_the_trade_off_and_the_fade_can_be_seen(registry):
    """Against the figures the coats were drawn from (fixtures/demo/truth.py), with room for the scatter of graders."""
    by_sire = fetch(
        """SELECT avg(l.surface), avg(l.undercolor) FROM grading_look l JOIN herds_animal a ON a.id = l.animal_id
           WHERE a.sire_id IS NOT NULL AND l.coat_stage = 'prime' GROUP BY a.sire_id HAVING count(DISTINCT a.id) >= 6"""
    )
    assert len(by_sire) > 30
    assert np.corrcoef(by_sire.T)[0, 1] < -0.1  # the genetic correlation is -0.5
    by_grader = fetch("SELECT avg(surface) FROM grading_look GROUP BY observer_id HAVING count(*) > 150")
    assert by_grader.std() > 0.15
    aged = fetch("SELECT age_days / 365.25, undercolor FROM grading_look WHERE coat_stage = 'prime' AND age_days > 365")
    fade = np.polyfit(aged[:, 0], aged[:, 1], 1)[0]
    assert fade == pytest.approx(truth.SENIOR_FADE[1], abs=0.2)


def test_the_same_seed_breeds_the_same_animals_and_another_does_not():
    one, same, other = (pedigree.breed(np.random.default_rng(seed), 600) for seed in (3, 3, 4))
    assert np.array_equal(one.sire, same.sire)
    assert np.array_equal(one.value, same.value)
    assert not np.array_equal(one.born, other.born)


def test_no_doe_is_put_to_her_father_son_or_brother():
    grown = pedigree.breed(np.random.default_rng(5), 1_500)
    sire, dam = grown.litters["sire"], grown.litters["dam"]
    sire, dam = sire[sire >= 0], dam[sire >= 0]
    assert not np.any(grown.sire[dam] == sire)
    assert not np.any(grown.dam[sire] == dam)
    for parents in (grown.sire, grown.dam):
        assert not np.any((parents[dam] >= 0) & (parents[dam] == parents[sire]))
    assert 5 <= grown.litters["alive"].mean() <= 8  # common litters have 5 to 8
    assert grown.litters["alive"].max() <= 14


def test_many_coats_at_once_are_seen_as_the_demo_sees_one():
    rng = np.random.default_rng(2)
    for age, stage, photo in ((70, "juvenile_molt", False), (300, "prime", True), (1200, "past_prime", False)):
        coat = truth.Coat(rng.normal(size=6), rng.normal(size=6))
        alone = truth.seen(coat, age, stage, "photo" if photo else "in_hand")
        many = coats.seen(
            (coat.value + coat.permanent)[None],
            np.array([age]),
            np.array([coats.STAGES.index(stage)]),
            np.array([photo]),
        )
        np.testing.assert_allclose(many[0], alone, rtol=1e-12)


def test_whole_months_are_counted_as_the_age_classes_do():
    rng = np.random.default_rng(1)
    born = np.datetime64("2023-01-01") + rng.integers(0, 900, 3_000).astype("timedelta64[D]")
    on = born + rng.integers(0, 1_500, 3_000).astype("timedelta64[D]")
    expected = [whole_months(a.astype(date), b.astype(date)) for a, b in zip(born, on, strict=True)]
    assert looks.whole_months(born, on).tolist() == expected
