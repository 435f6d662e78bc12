"""Work that is done once a night. Apps register it; the job worker does it; each may safely run twice.

A club's machine may be switched off at night, so a night counts as done only when its work is: what was missed is done
soon after the worker starts. A job that is new waits for its first night.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.utils import timezone

from clubsite import locks

log = logging.getLogger(__name__)

BEGINS_AT = time(2, 30)  # in the club's time zone: before people feed, after the latest of them have gone to bed


@dataclass(frozen=True)
class NightlyJob:
    """`work()` does it and may answer a number or a sentence, which is kept. Lower orders go first."""

    name: str
    title: str
    work: Callable[[], object]
    order: int = 50


JOBS: dict[str, NightlyJob] = {}


def register(job: NightlyJob):
    """Have a job done each night; the same name replaces, so that a reload adds nothing twice. Call it from ready()."""
    JOBS[job.name] = job


def in_order() -> list[NightlyJob]:
    return sorted(JOBS.values(), key=lambda job: (job.order, job.name))


def last_night(now=None) -> date:
    """The day of the latest beginning that has passed."""
    here = timezone.localtime(now)
    return here.date() if here.time() >= BEGINS_AT else here.date() - timedelta(days=1)


def next_beginning(now=None) -> datetime:
    day = last_night(now) + timedelta(days=1)
    return timezone.make_aware(datetime.combine(day, BEGINS_AT))


def due(now=None) -> list[NightlyJob]:
    """Jobs of which a night was missed, in order; new ones are written down as done for the night that has passed."""
    from clubsite.models import NightlyRun

    night = last_night(now)
    NightlyRun.objects.bulk_create([NightlyRun(name=name, night=night) for name in JOBS], ignore_conflicts=True)
    behind = set(NightlyRun.objects.filter(name__in=JOBS, night__lt=night).values_list("name", flat=True))
    return [job for job in in_order() if job.name in behind]


def run(job: NightlyJob, now=None, even_if_done=False) -> str:
    """Do a job unless its night is done or another worker is at it; returns how it ended, and raises what it raised."""
    from clubsite.models import NightlyRun

    night = last_night(now)
    with locks.alone(locks.NIGHTLY, job.name) as alone:
        row, _ = NightlyRun.objects.get_or_create(name=job.name, defaults={"night": night - timedelta(days=1)})
        if not alone:
            return "Another worker is at it."
        if row.night >= night and not even_if_done:
            return "Done already."
        row.began_at, row.ended_at, row.failed = timezone.now(), None, False
        row.save(update_fields=["began_at", "ended_at", "failed"])
        try:
            answer = job.work()
        except Exception as error:
            row.failed, row.outcome = True, f"{type(error).__name__}: {error}"
            row.ended_at = timezone.now()
            row.save(update_fields=["ended_at", "outcome", "failed"])
            log.error("The nightly job %s failed: %s", job.name, row.outcome)
            raise
        row.night, row.ended_at, row.outcome = night, timezone.now(), "" if answer is None else str(answer)
        row.save(update_fields=["night", "ended_at", "outcome"])
        return row.outcome or "Done."


def plan_next(now=None):
    """See to it that one beginning of the next night waits in the queue; one that is late will plan it when it runs."""
    from clubsite.tasks import begin_night

    beginning = next_beginning(now)
    if not _waiting().filter(run_after__lte=beginning).exists():
        begin_night.using(run_after=beginning).enqueue()


def catch_up(now=None):
    """For a worker that starts: plan the next night, and begin at once when a night was missed."""
    from clubsite.tasks import begin_night

    plan_next(now)
    if due(now) and not _waiting().ready().exists():
        begin_night.enqueue()


def _waiting():
    from django_tasks_db.models import DBTaskResult

    from clubsite.tasks import begin_night

    return DBTaskResult.objects.filter(status="READY", task_path=begin_night.module_path)
