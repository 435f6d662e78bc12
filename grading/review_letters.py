"""Letters about reviews: that something waits and where, never what, and no animal's name."""

from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from clubsite.members.mail import send_letter
from clubsite.members.models import Member, NewsBy

from .models import Review, ReviewNews

OLDEST_DAYS = 7  # what waited longer without a letter is on the page alone


def send_news(member_pk, now=None):
    """Send one letter for all news of reviews that the member has neither read nor been written of.

    The rows are held meanwhile, so that two jobs at once write one letter. Returns how many news it told of; a letter
    that the post refused is tried again in the night.
    """
    now = now or timezone.now()
    with transaction.atomic():
        member = Member.objects.filter(pk=member_pk, is_active=True).exclude(news_by=NewsBy.NEVER).first()
        if member is None:
            return 0
        waiting = ReviewNews.objects.filter(member=member, mailed_at__isnull=True, seen_at__isnull=True)
        waiting = waiting.filter(at__gt=now - timedelta(days=OLDEST_DAYS))
        news = list(waiting.select_for_update(skip_locked=True).order_by("pk"))
        if not news or not send_letter("grading/letters/review_news.txt", member.email, letter_context(member, news)):
            return 0
        ReviewNews.objects.filter(pk__in=[row.pk for row in news]).update(mailed_at=now)
    return len(news)


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
    waiting = ReviewNews.objects.filter(
        mailed_at__isnull=True, seen_at__isnull=True, at__gt=now - timedelta(days=OLDEST_DAYS)
    )
    members = waiting.filter(member__is_active=True).exclude(member__news_by=NewsBy.NEVER).values("member")
    sent = sum(send_news(pk, now) > 0 for pk in Member.objects.filter(pk__in=members).values_list("pk", flat=True))
    return f"{sent} letters sent"
