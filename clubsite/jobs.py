"""Who works on a background job, and what becomes of a job whose worker was killed.

The queue marks a job as running and has no heartbeat, so the job of a killed worker would run for ever. Our
workers therefore sign with machine, process and the process's start, which tells a living worker from a dead one.
"""

import os
import secrets
import socket
from datetime import timedelta
from pathlib import Path

from django.db import transaction
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

MOST_TRIES = 3
LONGEST_JOB = timedelta(hours=24)


def worker_signature() -> str:
    """A name for this process as a worker, at most 64 characters."""
    pid = os.getpid()
    return f"{machine()}/{pid}/{started_at(pid)}/{secrets.token_hex(4)}"


def machine() -> str:
    return socket.gethostname().replace("/", "-")[:24]


def started_at(pid: int) -> str:
    """When the process began, in the kernel's ticks since the machine's start; '-' where there is no /proc."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[19]
    except (OSError, IndexError):
        return "-"


def is_lost(worker: str, began, now) -> bool:
    """Whether a worker can no longer finish its job: dead on this machine, or silent for a day on another."""
    try:
        where, pid, birth, _ = worker.split("/")
        process = int(pid)
    except ValueError:
        return began < now - LONGEST_JOB
    if where != machine():
        return began < now - LONGEST_JOB
    if birth == "-":
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return True
        except PermissionError:
            return False
        return False
    return started_at(process) != birth


@transaction.atomic
def sweep_lost_jobs(now=None) -> tuple[int, int]:
    """Puts the jobs of killed workers back into the queue; one that lost three workers is marked as failed.

    Returns how many were put back and how many failed. Jobs may safely run twice, so putting back is enough.
    """
    now = now or timezone.now()
    again = failed = 0
    for job in DBTaskResult.objects.running().select_for_update(skip_locked=True):
        if not is_lost(job.worker_ids[-1] if job.worker_ids else "", job.started_at or job.enqueued_at, now):
            continue
        if len(job.worker_ids) >= MOST_TRIES:
            job.status, job.finished_at = TaskResultStatus.FAILED, now
            job.exception_class_path = "builtins.RuntimeError"
            job.traceback = f"The worker was killed {len(job.worker_ids)} times while it ran this job."
            failed += 1
        else:
            job.status, job.started_at = TaskResultStatus.READY, None
            again += 1
        job.save(update_fields=["status", "started_at", "finished_at", "exception_class_path", "traceback"])
    return again, failed
