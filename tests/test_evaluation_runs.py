"""Runs of the mixed model: from rows to stored merits, the same twice, stopped, refused, and from the command line."""

import io
import json
from datetime import timedelta

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from django.utils.dateformat import format as date

from clubsite import locks
from grading import evaluation as model
from grading.actions import evaluations as actions
from grading.models import Answer, EvaluationRun, Merit, RunState, Trait
from grading.running import reading, storing, work

from .factories import make_animal, make_look, make_member, make_profile

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


@pytest.fixture
def graded(cast):
    """Six families of four kits, each graded by two graders, one of whom gives a step more; sires differ by design."""
    rng = np.random.default_rng(7)
    surface = make_profile(cast.sire.breed) and Trait.objects.get(summary="surface")
    lenient = make_member("Lenient Grader")
    sires = [make_animal(cast.herd, f"S{i}", sex="buck", born_on=TODAY() - timedelta(days=900)) for i in range(6)]
    for i, sire in enumerate(sires):
        dam = make_animal(cast.herd, f"D{i}", sex="doe", born_on=TODAY() - timedelta(days=900))
        for number in range(4):
            kit = make_animal(
                cast.herd,
                f"K{i}{number}",
                sire=sire,
                dam=dam,
                born_on=TODAY() - timedelta(days=300 + 90 * (number % 2)),
            )
            true = 5 + (i - 2.5) * 0.5 + rng.normal(0, 0.4)
            for observer, lean in ((cast.keeper, 0), (lenient, 1)):
                make_look(kit, observer, steps={surface: int(np.clip(round(true + lean + rng.normal(0, 0.5)), 1, 9))})
    return sires


def run_of(cast, **more):
    return actions.run_here(breed=cast.sire.breed, **more)


def test_a_run_keeps_merits_of_every_animal_and_finds_the_better_sires(cast, graded):
    run = run_of(cast)
    assert run.state == RunState.DONE
    assert run.counts["looks"] == 48
    (found,) = [each for each in run.traits.all() if each.trait.summary == "surface"]
    merits = dict(Merit.objects.filter(evaluation=found).values_list("animal", "value"))
    assert len(merits) == cast.sire.breed.animals.count()
    values = [merits[sire.pk] for sire in graded]
    assert np.corrcoef(values, range(6))[0, 1] > 0.8
    leans = {key.split(":")[0]: steps for key, (steps, _looks) in found.fixed["grader and year"].items()}
    assert max(leans.values()) - min(leans.values()) == pytest.approx(1, abs=0.4)


def test_a_run_says_what_the_package_says_of_the_same_arrays(cast, graded):
    run = run_of(cast)
    found = run.traits.get(trait__summary="surface")
    looks = reading.read_looks(cast.sire.breed_id)
    records = looks.records(reading.read_steps(looks, cast.sire.breed_id, found.trait_id))
    variances = model.Variances(**{name: found.variances[name] for name in found.variances})
    merit = model.solve(records, looks.pedigree, variances).merit
    kept = dict(Merit.objects.filter(evaluation=found).values_list("animal", "value"))
    assert [kept[key] for key in looks.ids.tolist()] == pytest.approx(merit.tolist(), abs=1e-9)


def test_two_runs_on_the_same_looks_agree_to_the_last_digit_and_the_first_lets_its_merits_go(cast, graded):
    first = run_of(cast)
    kept = list(Merit.objects.order_by("animal").values_list("animal", "value", "reliability"))
    second = run_of(cast)
    assert second.inputs == first.inputs
    assert list(Merit.objects.order_by("animal").values_list("animal", "value", "reliability")) == kept
    assert not Merit.objects.filter(evaluation__run=first).exists()
    assert first.traits.exists()


def test_a_run_without_looks_fails_with_a_sentence_and_the_last_good_one_stays(cast, graded):
    good = run_of(cast)
    Answer.objects.all()._raw_delete("default")
    bad = run_of(cast)
    assert bad.state == RunState.FAILED
    assert bad.problem
    assert Merit.objects.filter(evaluation__run=good).exists()


@pytest.mark.parametrize("steps", [{"same": True}, {"few": True}])
def test_what_cannot_be_estimated_is_refused_in_a_sentence_and_nothing_is_no_number(cast, graded, steps):
    if steps.get("same"):
        looks = reading.read_looks(cast.sire.breed_id)
        found = work.evaluate_trait(looks, np.full(len(looks), 5.0), leading=True, progress=None)
    else:
        looks = reading.read_looks(cast.sire.breed_id)
        value = np.full(len(looks), np.nan)
        value[:5] = 4.0
        found = work.evaluate_trait(looks, value, leading=True, progress=None)
    assert found.refused
    assert found.merit is None


def test_numbers_that_are_none_never_reach_a_row():
    assert storing.said({"a": float("nan"), "b": [np.inf, np.float64(1.5), np.int64(2)]}) == {
        "a": None,
        "b": [None, 1.5, 2],
    }


def test_a_run_that_is_stopped_keeps_nothing(cast, graded, monkeypatch):
    def pressed(self, number, covariances):
        EvaluationRun.objects.filter(pk=self.run.pk).update(stop_asked=True)
        self._tell(0.5)

    monkeypatch.setattr(actions.Progress, "round", pressed)
    run = run_of(cast)
    assert run.state == RunState.STOPPED
    assert not Merit.objects.exists()


def test_one_run_of_a_breed_at_a_time_and_a_waiting_one_is_stopped_at_once(cast):
    run = actions.ask_for_run(breed=cast.sire.breed, by=cast.officer)
    with pytest.raises(ValidationError, match="under way"):
        actions.ask_for_run(breed=cast.sire.breed, by=cast.officer)
    actions.ask_to_stop(run=run, by=cast.officer)
    run.refresh_from_db()
    assert run.state == RunState.STOPPED
    with pytest.raises(ValidationError, match="over already"):
        actions.ask_to_stop(run=run, by=cast.officer)


def under_way(cast):
    """A run that stands as running, as a process that was killed leaves it."""
    return EvaluationRun.objects.create(
        breed=cast.sire.breed, method=work.METHOD, state=RunState.RUNNING, began_at=timezone.now(), done_share=0.4
    )


def test_a_run_whose_process_was_killed_makes_room_for_the_next(cast, graded):
    left = under_way(cast)
    assert actions.ask_for_run(breed=cast.sire.breed, by=cast.officer).state == RunState.QUEUED
    left.refresh_from_db()
    assert left.state == RunState.FAILED
    assert "stopped in the middle of it" in left.problem


def test_an_officer_ends_a_run_whose_process_was_killed(cast):
    left = under_way(cast)
    actions.ask_to_stop(run=left, by=cast.officer)
    left.refresh_from_db()
    assert left.state == RunState.STOPPED


@pytest.mark.django_db(transaction=True)
def test_a_run_at_which_a_process_is_stays_and_a_second_process_leaves_it(cast, graded):
    run, other = under_way(cast), connection.copy()
    try:
        with other.cursor() as cursor:
            lock = [locks.EVALUATIONS, str(run.pk)]
            cursor.execute("SELECT pg_advisory_lock(%s, hashtext(%s))", lock)
            with pytest.raises(ValidationError, match="under way"):
                actions.run_here(breed=cast.sire.breed)
            assert actions.run_all_changed() == "0 evaluations asked for"
            assert actions.carry_out(run=run).state == RunState.RUNNING
            actions.ask_to_stop(run=run, by=cast.officer)
            assert EvaluationRun.objects.get().state == RunState.RUNNING
            assert EvaluationRun.objects.get().stop_asked
            cursor.execute("SELECT pg_advisory_unlock(%s, hashtext(%s))", lock)
    finally:
        other.close()
    EvaluationRun.objects.update(stop_asked=False)
    assert actions.carry_out(run=run).state == RunState.DONE


def test_the_night_asks_only_for_what_changed(cast, graded):
    run_of(cast)
    assert actions.run_all_changed() == "0 evaluations asked for"
    make_look(graded[0], cast.keeper, steps={Trait.objects.get(summary="surface"): 9})
    assert actions.run_all_changed() == "1 evaluation asked for"
    assert actions.run_all_changed() == "0 evaluations asked for"


def test_the_night_asks_again_when_a_new_version_works_out_otherwise(cast, graded):
    run_of(cast)
    EvaluationRun.objects.update(method="an earlier one")
    assert actions.run_all_changed() == "1 evaluation asked for"


def test_the_command_prints_merits_as_words_and_as_json(cast, graded):
    out = io.StringIO()
    code = Trait.objects.get(summary="surface").code
    call_command("evaluate", "--trait", code, "--json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["traits"][0]["trait"] == code
    assert len(told["traits"][0]["merits"]) == cast.sire.breed.animals.count()
    out = io.StringIO()
    call_command("evaluate", stdout=out)
    assert "heritability" in out.getvalue()
    with pytest.raises(CommandError, match="There is no trait colour"):
        call_command("evaluate", "--trait", "colour")
    with pytest.raises(CommandError, match="Name one breed"):
        call_command("evaluate", "--breed", "none")


def test_an_officer_asks_for_a_run_watches_it_and_stops_it(cast, graded):
    client = cast.client_of("officer")
    answer = client.post(reverse("evaluation-list"), {"breed": cast.sire.breed.slug})
    run = EvaluationRun.objects.get()
    assert answer.url == run.get_absolute_url()
    again = client.post(reverse("evaluation-list"), {"breed": cast.sire.breed.slug}, follow=True)
    assert "under way" in again.content.decode()
    assert "Stop" in client.get(run.get_absolute_url()).content.decode()
    actions.carry_out(run=run)
    page = client.get(run.get_absolute_url()).content.decode()
    assert "Heritability" in page
    assert "The run is done" in page
    assert f"{run.breed}, {date(timezone.localtime(run.asked_at), 'j F Y, H:i')}</p>" in page
    assert "nan" not in page.lower().replace("finance", "")
