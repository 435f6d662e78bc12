"""What accounts leave behind and nobody needs any more is swept out at night."""

from datetime import timedelta
from importlib import import_module

from django.conf import settings
from django.db import connection
from django.utils import timezone

from clubsite.nightly import NightlyJob, register

from .models import Submission

KEYS_KEPT = timedelta(days=30)  # nobody sends a form again that was opened a month ago
JOBS_KEPT = timedelta(days=14)


def register_all():
    register(
        NightlyJob("sweep", "Sweep out expired sessions, old form keys, finished jobs and stale copies", sweep, 90)
    )


def sweep(now=None):
    """Delete what has expired; returns in words how much."""
    now = now or timezone.now()
    counts = [
        (sweep_sessions(), "expired sessions"),
        (Submission.objects.filter(made_at__lt=now - KEYS_KEPT).delete()[0], "form keys"),
        (finished_jobs(now - JOBS_KEPT).delete()[0], "finished jobs"),
        (sweep_cache(now), "stale copies of pages' parts"),
    ]
    return ", ".join(f"{count} {what}" for count, what in counts)


def sweep_sessions():
    """Expired sessions, and the list of signed-in devices that named them."""
    from allauth.usersessions.models import UserSession
    from django.contrib.sessions.models import Session

    before = Session.objects.count()
    import_module(settings.SESSION_ENGINE).SessionStore.clear_expired()
    UserSession.objects.exclude(session_key__in=Session.objects.values("session_key")).delete()
    return before - Session.objects.count()


def finished_jobs(before):
    from django_tasks_db.models import DBTaskResult

    return DBTaskResult.objects.finished().filter(finished_at__lt=before)


def sweep_cache(now):
    """Rows of the database's cache past their time: Django itself clears only when the table is full."""
    table = settings.CACHES["default"]["LOCATION"]
    if table not in connection.introspection.table_names():
        return 0
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {connection.ops.quote_name(table)} WHERE expires < %s", [now])  # noqa: S608
        return cursor.rowcount
