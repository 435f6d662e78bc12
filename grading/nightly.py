"""Grading's part of the night: looks left open past their day are closed, and club-wide figures are renewed."""

from django.utils import timezone

from clubsite.members.models import Member
from clubsite.nightly import NightlyJob, register

from .actions.looks import close_left_open
from .models import Look


def register_all():
    register(NightlyJob("close_looks", "Close looks left open past their day", close_looks, 10))
    register(NightlyJob("club_figures", "Work out the club-wide figures of sires and years", club_figures, 60))


def close_looks(now=None):
    """Close every member's left-open looks; returns in words how many."""
    now = now or timezone.now()
    left = Look.objects.filter(finished_at__isnull=True, editable_until__lte=now)
    count = left.count()
    for member in Member.objects.filter(pk__in=left.values("observer")):
        close_left_open(by=member, now=now)
    return f"{count} looks closed"


def club_figures():
    """Renew what the pages of sires and years keep of a large club."""
    from .years import renew_all

    return renew_all()
