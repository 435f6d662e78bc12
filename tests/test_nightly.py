"""The night's work: planned once, made up for when it was missed, done once, and its failure told."""

from datetime import datetime, timedelta

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from clubsite import locks, nightly, tasks
from clubsite.members.models import Submission
from clubsite.members.nightly import sweep
from clubsite.members.sent_once import new_key
from clubsite.models import NightlyRun
from grading.actions.looks import save_answers, start_look
from grading.models import Look, Trait
from grading.nightly import close_looks

pytestmark = pytest.mark.django_db


def at(day, hour, minute=0):
    return timezone.make_aware(datetime(2026, 5, day, hour, minute))


@pytest.fixture
def done(monkeypatch):
    """One registered job, which notes that it was done."""
    runs = []
    job = nightly.NightlyJob("count", "Count", lambda: runs.append(1) or f"{len(runs)} times")
    monkeypatch.setattr(nightly, "JOBS", {"count": job})
    return runs


def waiting():
    return DBTaskResult.objects.filter(task_path=tasks.begin_night.module_path, status="READY")


@pytest.mark.parametrize(("hour", "minute", "night"), [(2, 29, 9), (2, 30, 10), (23, 0, 10)])
def test_a_night_belongs_to_the_day_on_which_it_begins(hour, minute, night):
    assert nightly.last_night(at(10, hour, minute)).day == night
    assert nightly.next_beginning(at(10, hour, minute)) == at(night + 1, 2, 30)


def test_a_new_job_waits_for_its_first_night(done):
    assert nightly.due(at(10, 12)) == []
    assert [job.name for job in nightly.due(at(11, 3))] == ["count"]


def test_a_job_is_done_once_a_night(done):
    nightly.due(at(10, 12))
    job = nightly.JOBS["count"]
    assert nightly.run(job, at(11, 3)) == "1 times"
    assert nightly.run(job, at(11, 4)) == "Done already."
    assert nightly.run(job, at(12, 4)) == "2 times"
    assert len(done) == 2


def test_a_machine_that_was_off_at_night_makes_up_for_it_when_its_worker_starts(done):
    nightly.catch_up()
    assert waiting().ready().count() == 0  # nothing missed yet
    NightlyRun.objects.update(night=timezone.localdate() - timedelta(days=3))
    nightly.catch_up()
    nightly.catch_up()  # a second worker
    assert waiting().ready().count() == 1
    assert waiting().count() == 2  # and the next night


def test_the_beginning_of_a_night_queues_its_jobs_and_plans_the_next(done):
    nightly.due()
    NightlyRun.objects.update(night=timezone.localdate() - timedelta(days=3))
    assert tasks.begin_night.call() == 1
    assert waiting().get().run_after == nightly.next_beginning()
    queued = DBTaskResult.objects.get(task_path=tasks.run_nightly.module_path)
    assert queued.args_kwargs["args"] == ["count"]
    assert tasks.run_nightly.call("count") == "1 times"
    assert tasks.run_nightly.call("gone since") == "No such job."


def test_a_job_that_fails_says_so_and_is_done_again_the_next_night(monkeypatch, caplog):
    def broken():
        raise ValueError("The paper ran out.")

    job = nightly.NightlyJob("print", "Print", broken)
    monkeypatch.setattr(nightly, "JOBS", {"print": job})
    nightly.due(at(10, 12))
    with pytest.raises(ValueError, match="ran out"):
        nightly.run(job, at(11, 3))
    row = NightlyRun.objects.get()
    assert row.failed
    assert "The paper ran out." in row.outcome
    assert nightly.due(at(11, 4)) == [job]


@pytest.mark.django_db(transaction=True)
def test_a_job_that_another_worker_is_at_is_left_to_it(done):
    other = connection.copy()
    try:
        with other.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_lock(%s, hashtext(%s))", [locks.NIGHTLY, "count"])
            nightly.due(at(10, 12))
            assert nightly.run(nightly.JOBS["count"], at(11, 3)) == "Another worker is at it."
            # Closing alone gives the lock back only once the server notices.
            cursor.execute("SELECT pg_advisory_unlock(%s, hashtext(%s))", [locks.NIGHTLY, "count"])
    finally:
        other.close()
    assert done == []
    assert nightly.run(nightly.JOBS["count"], at(11, 3)) == "1 times"


def test_the_command_lists_the_jobs_does_one_by_name_and_refuses_an_unknown(done, capsys):
    call_command("nightly")
    assert "count: Count. Not done yet." in capsys.readouterr().out
    call_command("nightly", "count")
    call_command("nightly", "all")
    call_command("nightly")
    assert "2 times" in capsys.readouterr().out
    with pytest.raises(CommandError, match=r"no nightly job called nothing\. There are: count\."):
        call_command("nightly", "nothing")


def test_what_has_expired_is_swept_out_and_the_rest_stays(cast):
    now = timezone.now()
    for days in (-1, 1):
        session = SessionStore()
        session.set_expiry(timedelta(days=days))
        session.create()
    for days in (29, 31):
        Submission.objects.create(key=new_key(), member=cast.keeper, made_at=now - timedelta(days=days))
    call_command("createcachetable", verbosity=0)
    cache.set("stale", "x", 60)
    told = sweep(now)
    assert "1 expired sessions, 1 form keys" in told
    assert Session.objects.filter(expire_date__lt=now).count() == 0
    assert Submission.objects.count() == 1
    assert cache.get("stale") == "x"
    assert "1 stale copies" in sweep(now + timedelta(seconds=61))


def test_looks_left_open_past_their_day_are_closed_and_empty_ones_go(cast):
    now = timezone.now()
    answered = start_look(animal=cast.dam, mode="in_hand", light="open_shade", by=cast.keeper)
    empty = start_look(animal=cast.sire, mode="in_hand", light="open_shade", by=cast.keeper)
    save_answers(look=answered, answers=[(Trait.objects.get(code="surface_shade"), "", 5)], by=cast.keeper)
    assert close_looks(now) == "0 looks closed"
    assert close_looks(now + timedelta(days=2)) == "2 looks closed"
    answered.refresh_from_db()
    assert answered.finished_at == answered.editable_until
    assert answered.current
    assert not Look.objects.filter(pk=empty.pk).exists()
