"""Telling owners what a mentor proposes for a season, and the mentor what owners answer."""

from django.db.models import Q
from django.utils import timezone

from clubsite.members.models import Member, NewsBy
from grading.barn.letters import GATHERED
from grading.models import SeasonNews

Kind = SeasonNews.Kind


def tell_proposed(*, items, by):
    """Tell the herd's keepers of items of one herd that were proposed or changed; of a youth's herd the guardian."""
    owners = Member.objects.filter(ownerships__herd=items[0].herd_id, ownerships__until__isnull=True)
    adults = Member.objects.adults().filter(Q(pk__in=owners.values("pk")) | Q(youths__in=owners)).distinct()
    _tell(items, Kind.PROPOSED, adults.exclude(pk=by.pk))


def tell_answered(*, item, by):
    """Tell the mentor who wrote the item that it is answered."""
    _tell([item], Kind.ANSWERED, Member.objects.filter(pk=item.written_by_id, is_active=True).exclude(pk=by.pk))


def mark_seen(*, member, herd):
    """The member has read the herd's plan on its page."""
    SeasonNews.objects.filter(member=member, item__herd=herd, seen_at__isnull=True).update(seen_at=timezone.now())


def _tell(items, kind, members):
    from grading.tasks import send_season_news

    now, told = timezone.now(), list(members.order_by("pk"))
    SeasonNews.objects.bulk_create(
        SeasonNews(item=item, member=member, kind=kind, at=now) for member in told for item in items
    )
    for member in told:
        if member.news_by == NewsBy.AT_ONCE:
            send_season_news.using(run_after=now + GATHERED).enqueue(member=member.pk)
