"""A job whose worker was killed is taken up again; one that kills its workers is given up."""

import os
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone
from django_tasks import TaskResultStatus, task
from django_tasks_db.models import DBTaskResult, get_date_max

from clubsite import jobs

DEAD = f"{jobs.machine()}/4194303/1/abcd"  # the last pid that Linux would give, and no process began at tick 1


@task
def double(number: int) -> int:
    return 2 * number


def make_running_job(*worker_ids, minutes_ago=5):
    return DBTaskResult.objects.create(
        status=TaskResultStatus.RUNNING,
        started_at=timezone.now() - timedelta(minutes=minutes_ago),
        args_kwargs={"args": [21], "kwargs": {}},
        task_path=f"{__name__}.double",
        worker_ids=list(worker_ids),
        backend_name="default",
        run_after=get_date_max(),
    )


def state_of(job):
    job.refresh_from_db()
    return job.status


@pytest.mark.django_db
def test_the_job_of_a_killed_worker_goes_back_into_the_queue():
    job = make_running_job(DEAD)
    assert jobs.sweep_lost_jobs() == (1, 0)
    assert state_of(job) == TaskResultStatus.READY
    assert list(DBTaskResult.objects.ready()) == [job]


@pytest.mark.django_db
def test_the_job_of_a_living_worker_is_left_alone():
    job = make_running_job(jobs.worker_signature())
    assert jobs.sweep_lost_jobs() == (0, 0)
    assert state_of(job) == TaskResultStatus.RUNNING


@pytest.mark.django_db
def test_a_process_number_given_to_another_process_does_not_hide_a_dead_worker():
    job = make_running_job(f"{jobs.machine()}/{os.getpid()}/1/abcd")
    assert jobs.sweep_lost_jobs() == (1, 0)
    assert state_of(job) == TaskResultStatus.READY


@pytest.mark.django_db
@pytest.mark.parametrize(("minutes_ago", "swept"), [(60, 0), (60 * 25, 1)])
def test_a_worker_on_another_machine_has_a_day(minutes_ago, swept):
    make_running_job("elsewhere/12/34/abcd", minutes_ago=minutes_ago)
    assert jobs.sweep_lost_jobs() == (swept, 0)


@pytest.mark.django_db
def test_a_job_that_lost_three_workers_is_given_up():
    job = make_running_job(DEAD, DEAD, DEAD)
    assert jobs.sweep_lost_jobs() == (0, 1)
    assert state_of(job) == TaskResultStatus.FAILED
    assert "killed 3 times" in job.traceback


@pytest.mark.django_db(transaction=True)
def test_the_worker_takes_up_a_lost_job_and_finishes_it(monkeypatch):
    monkeypatch.setattr("clubsite.management.commands.run_jobs.end_with_parent", lambda **_: None)
    monkeypatch.setattr("django_tasks_db.management.commands.db_worker.Worker.configure_signals", lambda _: None)
    job = make_running_job(DEAD)
    call_command("run_jobs", batch=True)
    assert state_of(job) == TaskResultStatus.SUCCESSFUL
    assert job.return_value == 42
