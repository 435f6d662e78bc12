"""One letter for all news of a kind that a member has neither read nor been written of: at once, or in the night."""

from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from clubsite.members.mail import send_letter
from clubsite.members.models import Member, NewsBy

OLDEST_DAYS = 7  # what waited longer without a letter is on the page alone


def unread(rows, now):
    """Rows of news (member, at, mailed_at, seen_at) that a letter may still tell of."""
    return rows.filter(mailed_at__isnull=True, seen_at__isnull=True, at__gt=now - timedelta(days=OLDEST_DAYS))


def send_unread(rows, member_pk, letter, context, now=None):
    """Send the member one letter for their rows; `context(member, news)` fills it. Returns how many it told of.

    The rows are held meanwhile, so that two jobs at once write one letter. When the post refused it they stay unsent,
    and the night tries again.
    """
    now = now or timezone.now()
    with transaction.atomic():
        member = Member.objects.filter(pk=member_pk, is_active=True).exclude(news_by=NewsBy.NEVER).first()
        if member is None:
            return 0
        held = unread(rows, now).filter(member=member).select_for_update(of=("self",), skip_locked=True)
        news = list(held.order_by("pk"))
        if not news or not send_letter(letter, member.email, context(member, news)):
            return 0
        rows.model.objects.filter(pk__in=[row.pk for row in news]).update(mailed_at=now)
    return len(news)


def members_to_write_to(rows, now):
    """Keys of members with news that no letter told of and who wish for letters."""
    waiting = unread(rows, now).filter(member__is_active=True).exclude(member__news_by=NewsBy.NEVER)
    return list(Member.objects.filter(pk__in=waiting.values("member")).values_list("pk", flat=True))
