"""Grading's part of the night: looks left open past their day are closed, and club-wide figures are renewed."""

from django.utils import timezone

from clubsite.members.models import Club, Member
from clubsite.nightly import NightlyJob, register

from .actions.calibration import close_what_is_over
from .actions.calibration_news import invite_what_opens, remind_of_what_closes
from .actions.looks import close_left_open
from .actions.reviews import hand_on_unanswered
from .barn.letters import send_all as season_letters
from .calibrating import letters
from .models import Look
from .review_letters import send_digests


def register_all():
    register(NightlyJob("close_looks", "Close looks left open past their day", close_looks, 10))
    register(NightlyJob("reviews", "Hand on review requests that nobody answered", hand_on_reviews, 20))
    register(NightlyJob("letters", "Letters about reviews, one a day for those who wish so", send_digests, 25))
    register(
        NightlyJob("season_letters", "Letters about seasons' plans, to whoever wishes one a day", season_letters, 26)
    )
    register(NightlyJob("calibration", "Close calibration sets that are over, work them out", close_calibration, 30))
    register(
        NightlyJob(
            "calibration_letters",
            "Invite to calibration sets, remind before they close, write of results",
            calibration_letters,
            35,
        )
    )
    register(NightlyJob("club_figures", "Work out the club-wide figures of sires and years", club_figures, 60))


def close_looks(now=None):
    """Close every member's left-open looks; returns in words how many."""
    now = now or timezone.now()
    left = Look.objects.filter(finished_at__isnull=True, editable_until__lte=now)
    count = left.count()
    for member in Member.objects.filter(pk__in=left.values("observer")):
        close_left_open(by=member, now=now)
    return f"{count} looks closed"


def hand_on_reviews(now=None):
    """Requests that waited too long for one mentor go to the club's queue."""
    return hand_on_unanswered(days=Club.current().handing_on_days, now=now)


def close_calibration():
    """Sets whose last day is past."""
    return close_what_is_over()


def calibration_letters():
    """Members are told of sets whose first day has come or whose last is near; then the letters that wait are sent."""
    return f"{invite_what_opens()}, {remind_of_what_closes()}, {letters.send_all()}"


def club_figures():
    """Renew what the pages of sires and years keep of a large club."""
    from .years import renew_all

    return renew_all()
