"""Letters about reviews: that something waits and where, never what, and no animal's name."""

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import NewsBy

from .models import Review, ReviewNews
from .news_letters import members_to_write_to, send_unread

LETTER = "grading/letters/review_news.txt"


def send_news(member_pk, now=None):
    """Send one letter for all news of reviews; returns how many it told of."""
    return send_unread(ReviewNews.objects.all(), member_pk, LETTER, letter_context, now)


def letter_context(member, news):
    """What the letter says: how many reviews have news, and the address where they are read."""
    reviews = {row.review_id for row in news}
    readable = Review.objects.visible_to(member).filter(pk__in=reviews)
    one = readable.first() if len(reviews) == 1 else None
    return {
        "member": member,
        "reviews": len(reviews),
        "link": settings.PUBLIC_URL + (one.get_absolute_url() if one else reverse("review-list")),
        "profile_link": settings.PUBLIC_URL + reverse("profile-update"),
        "daily": member.news_by == NewsBy.DAILY,
    }


def send_digests(now=None):
    """The night's letters: one a day to whoever wishes so, and those at once whose post failed; in words how many."""
    now = now or timezone.now()
    sent = sum(send_news(pk, now) > 0 for pk in members_to_write_to(ReviewNews.objects.all(), now))
    return f"{sent} letters sent"
