"""Stored inbreeding is never shown when it no longer holds."""

import numpy as np
import pgtrigger
import pytest
from django.core.management import call_command
from django_tasks_db.models import DBTaskResult

from herds.models import Animal
from pedigrees import kinship, load
from pedigrees.actions.inbreeding import refresh_all, refresh_due, refresh_soon
from pedigrees.models import Inbreeding
from pedigrees.tasks import work_out_population

from .factories import make_animal

pytestmark = pytest.mark.django_db


def figures():
    return dict(Inbreeding.objects.values_list("animal", "value"))


def bred(sire=None, dam=None, sex="buck", **given):
    return make_animal(mark=False, sex=sex, sire=sire, dam=dam, born_on=None, **given)


@pytest.fixture
def sibs(db):
    """Two founders, two full sibs, and a kit of the sibs: its inbreeding is 1/4 (Wright 1922, full sibs)."""
    buck, doe = bred(), bred(sex="doe")
    brother, sister = bred(buck, doe), bred(buck, doe, sex="doe")
    return buck, doe, brother, sister, bred(brother, sister)


def test_an_animal_without_both_parents_has_its_figure_at_once_and_others_wait(sibs):
    buck, doe, brother, sister, kit = sibs
    half_known = bred(brother)
    found = figures()
    assert [found[each.pk] for each in (buck, doe, half_known)] == [0, 0, 0]
    assert [found[each.pk] for each in (brother, sister, kit)] == [None, None, None]


def test_the_job_writes_what_is_due_and_nothing_twice(sibs):
    assert refresh_due() == 3
    assert figures()[sibs[-1].pk] == 0.25
    assert refresh_due() == 0


def test_a_new_litter_is_worked_out_from_stored_figures(sibs):
    refresh_due()
    *_, sister, kit = sibs
    litter = [bred(kit, sister) for _ in range(3)]
    assert refresh_due() == 3
    # Back to a full sister's line: coancestry of kit and its dam is (F_kit's sibs) 3/8, worked by the tabular method
    assert [figures()[each.pk] for each in litter] == [0.375] * 3


def test_changed_parents_empty_the_figures_of_all_descendants_and_of_nobody_else(sibs):
    refresh_due()
    _buck, doe, brother, _sister, kit = sibs
    below = bred(kit)  # its dam is unknown, so it stays at nothing; its own progeny depends on kit
    grandkit = bred(below, doe)
    refresh_due()
    stranger = bred(sex="doe")
    Animal.objects.filter(pk=brother.pk).update(dam=stranger)  # in one UPDATE, as a sheet or a merge does it
    found = figures()
    assert {key for key, value in found.items() if value is None} == {brother.pk, kit.pk, grandkit.pk}
    assert refresh_due() == 3
    assert figures()[kit.pk] == 0.125  # half sibs (Wright 1922)


def test_a_change_of_anything_else_leaves_the_figures_alone(sibs):
    refresh_due()
    Animal.objects.update(name="renamed")
    assert None not in figures().values()


def test_a_figure_that_went_stale_while_it_was_worked_out_is_not_written(sibs, monkeypatch):
    """The parents change between the reading of the pedigree and the writing of the figure."""
    refresh_due()
    _, _, brother, sister, _ = sibs
    kit, stranger = bred(brother, sister), bred(sex="doe")
    real = kinship.coancestry

    def slow(*args, **kwargs):
        Animal.objects.filter(pk=kit.pk).update(dam=stranger)
        return real(*args, **kwargs)

    monkeypatch.setattr(kinship, "coancestry", slow)
    assert refresh_due() == 0
    assert figures()[kit.pk] is None
    monkeypatch.undo()
    refresh_due()
    assert figures()[kit.pk] == 0


def test_the_full_refresh_agrees_with_the_package_and_mends_what_is_wrong(sibs):
    refresh_due()
    Inbreeding.objects.filter(animal=sibs[-1]).update(value=0.9)
    Inbreeding.objects.filter(animal=sibs[2]).delete()
    assert refresh_all() == 2
    registry = load.whole_registry()
    expected = kinship.inbreeding(registry.sire, registry.dam)
    np.testing.assert_allclose(registry.f, expected)


def test_loops_are_refused_by_name_and_leave_the_rest_computed(sibs):
    buck, _, brother, sister, kit = sibs
    with pgtrigger.ignore("herds.Animal:animal_parents"):
        Animal.objects.filter(pk=buck.pk).update(sire=kit, name="Loop Buck")
    apart = bred(bred(), bred(sex="doe"))
    with pytest.raises(load.PedigreeProblem, match=r"Loop Buck .*is recorded as its own ancestor") as refused:
        load.coancestry_between([brother.pk], [sister.pk])
    assert set(refused.value.animals) == {buck.pk, brother.pk, kit.pk} or set(refused.value.animals) == {
        buck.pk,
        sister.pk,
        kit.pk,
    }
    assert refresh_due() == 1
    assert figures()[apart.pk] == 0
    assert figures()[kit.pk] is None


def test_an_animal_that_is_sire_and_dam_is_refused_by_name(db):
    both = bred(sex="unknown", name="Both Ways")
    one, other = bred(both, bred(sex="doe")), bred(bred(), both, sex="doe")
    with pytest.raises(load.PedigreeProblem, match="Both Ways stands as a sire in one place and as a dam in another"):
        load.coancestry_between([one.pk], [other.pk])


def test_coancestry_comes_as_a_table_of_both_lists(sibs):
    refresh_due()
    buck, doe, brother, sister, kit = (each.pk for each in sibs)
    table = load.coancestry_between([buck, brother, kit], [doe, sister])
    np.testing.assert_allclose(table, [[0, 0.25], [0.25, 0.25], [0.25, 0.375]])
    np.testing.assert_allclose(load.coancestry_between([doe, sister], [buck, brother, kit]), table.T)


def test_ancestors_and_progeny_come_to_the_depth_asked(sibs):
    buck, doe, brother, sister, kit = (each.pk for each in sibs)
    assert load.ancestors_of(kit, 1).ids.tolist() == [brother, sister, kit]
    assert load.ancestors_of(kit).ids.tolist() == [buck, doe, brother, sister, kit]
    assert load.descendants_of(buck, 1).ids.tolist() == [buck, brother, sister]
    assert load.descendants_of(buck, 2).ids.tolist() == [buck, brother, sister, kit]


def test_a_job_is_queued_once_when_something_is_due(sibs):
    refresh_soon()
    refresh_soon()
    assert DBTaskResult.objects.filter(task_path="pedigrees.tasks.refresh_inbreeding").count() == 1


def test_nothing_is_queued_when_nothing_is_due(db):
    refresh_soon()
    assert not DBTaskResult.objects.exists()


def test_one_look_at_what_is_due_follows_a_whole_litter(db, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True) as after:
        buck, doe = bred(), bred(sex="doe")
        for _ in range(8):
            bred(buck, doe)
    assert len(after) == 1
    assert DBTaskResult.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_job_that_wrote_animals_in_bulk_is_followed_by_the_figures_they_want(sibs, monkeypatch):
    monkeypatch.setattr("clubsite.management.commands.run_jobs.end_with_parent", lambda **_: None)
    monkeypatch.setattr("django_tasks_db.management.commands.db_worker.Worker.configure_signals", lambda _: None)
    refresh_due()
    DBTaskResult.objects.all().delete()
    Animal.objects.filter(pk=sibs[2].pk).update(dam=bred(sex="doe"))  # as a sheet does it, without signals
    DBTaskResult.objects.all().delete()
    work_out_population.enqueue(run=0)
    call_command("run_jobs", batch=True, verbosity=0)
    assert None not in figures().values()
