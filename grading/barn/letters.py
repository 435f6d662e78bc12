"""Letters about a season's plan: that something waits and where; no herd, no animal, no answer."""

from datetime import timedelta

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import NewsBy
from grading.models import SeasonNews
from grading.news_letters import members_to_write_to, send_unread, unread
from herds.words import count_words

LETTER = "grading/letters/season_news.txt"
GATHERED = timedelta(hours=1)  # a plan is written and answered item by item: all of an hour is one letter
Kind = SeasonNews.Kind


def waiting():
    return SeasonNews.objects.standing().select_related("item")


def send_news(member_pk, now=None):
    """Send one letter for all news of seasons' plans once the oldest has waited an hour; how many it told of.

    Each row has its own job an hour after it, so what is too new for this one is not forgotten.
    """
    now = now or timezone.now()
    rows = waiting()
    if not unread(rows, now).filter(member=member_pk, at__lte=now - GATHERED).exists():
        return 0
    return send_unread(rows, member_pk, LETTER, letter_context, now)


def send_all(now=None):
    """The night's letters, to whoever wishes one a day and where the post failed; in words how many."""
    now = now or timezone.now()
    rows = waiting()
    sent = sum(
        send_unread(rows, pk, LETTER, letter_context, now) > 0 for pk in members_to_write_to(rows, now)
    )  # fmt: skip
    return f"{count_words(sent, 'letter')} sent"


def letter_context(member, news):
    """What the letter says: on which side something waits, and the address of the one plan, or of Today."""
    items = [row.item for row in news]
    one = len({item.herd_id for item in items}) == 1
    kinds = {row.kind for row in news}
    return {
        "member": member,
        "proposed": Kind.PROPOSED in kinds,
        "answered": Kind.ANSWERED in kinds,
        "link": settings.PUBLIC_URL + (reverse("season-detail", args=[items[0].pk]) if one else reverse("today")),
        "profile_link": settings.PUBLIC_URL + reverse("profile-update"),
        "daily": member.news_by == NewsBy.DAILY,
    }
