"""Letters about the calibration: that a set is open, closes soon, or a result is there, and where; nothing of it."""

from datetime import timedelta

from django.conf import settings
from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import Club
from grading.models import CalibrationNews, Seat, SetState
from grading.news_letters import members_to_write_to, send_unread
from herds.words import count_words, day_words

LETTER = "grading/letters/calibration_news.txt"
Kind = CalibrationNews.Kind


def worth_telling(now):
    """News that still hold: of a set whose window is open, that it closes soon to whoever has not finished, of results.

    The window may be moved after the reminder was written down.
    """
    day = timezone.localdate(now)
    open_now = Q(of__state=SetState.OPEN, of__opens_on__lte=day, of__closes_on__gte=day)
    near = Q(of__closes_on__lte=day + timedelta(days=Club.current().calibration_reminder_days))
    finished = Seat.objects.filter(of=OuterRef("of"), member=OuterRef("member"), finished_at__isnull=False)
    closes = Q(kind=Kind.CLOSES) & open_now & near & ~Q(Exists(finished))
    return CalibrationNews.objects.filter(
        Q(kind=Kind.OPENED) & open_now | closes | Q(kind=Kind.RESULT, of__state=SetState.DONE)
    ).select_related("of")


def send_news(member_pk, now=None):
    """Send one letter for all news of calibration sets; returns how many it told of."""
    now = now or timezone.now()
    return send_unread(worth_telling(now), member_pk, LETTER, letter_context, now)


def send_all(now=None):
    """The night's letters, to whoever wishes one a day and where the post failed; in words how many."""
    now = now or timezone.now()
    sent = sum(send_news(pk, now) > 0 for pk in members_to_write_to(worth_telling(now), now))
    return f"{count_words(sent, 'letter')} sent"


def letter_context(member, news):
    """What the letter says: which kinds of news there are, and the address of the one set or of the list."""
    kinds = {row.kind for row in news}
    sets = {row.of_id for row in news}
    closing = {row.of_id: row.of.closes_on for row in news if row.kind == Kind.CLOSES}
    return {
        "member": member,
        "opened": any(row.kind == Kind.OPENED and row.of_id not in closing for row in news),
        "closes": day_words(min(closing.values(), default=None)),
        "result": Kind.RESULT in kinds,
        "link": settings.PUBLIC_URL + (address(member, news[0]) if len(sets) == 1 else reverse("calibration-list")),
        "profile_link": settings.PUBLIC_URL + reverse("profile-update"),
    }


def address(member, row):
    """A grader's own result; for everybody and everything else the page of the set."""
    own = row.kind == Kind.RESULT and Seat.objects.filter(of=row.of_id, member=member).exists()
    return reverse("calibration-result" if own else "calibration-detail", args=[row.of_id])
