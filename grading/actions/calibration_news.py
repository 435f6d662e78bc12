"""Telling graders that a calibration set is open, and that its results are there."""

from django.db.models import Q
from django.utils import timezone

from clubsite.members.models import Member, NewsBy
from grading.models import CalibrationNews, CalibrationSet, Look, Seat, SetState
from herds.words import count_words

Kind = CalibrationNews.Kind


def graders_of(breed_id):
    """Members who grade: they looked at an animal of the breed, sat in an earlier set, are graders, or mentor."""
    looked = Look.objects.filter(animal__breed=breed_id).values("observer")
    seated = Seat.objects.filter(of__breed=breed_id).values("member")
    return Member.objects.filter(
        Q(pk__in=looked) | Q(pk__in=seated) | Q(grader_until__isnull=False) | Q(takes_reviews=True), is_active=True
    )


def invite(*, of_set, by=None, on=None):
    """Tell those who grade that the set is open, once each; before its first day nothing. Returns how many are told."""
    if of_set.state != SetState.OPEN or of_set.opens_on > (on or timezone.localdate()):
        return 0
    told = CalibrationNews.objects.filter(of=of_set, kind=Kind.OPENED).values("member")
    seated = of_set.seats.values("member")
    members = graders_of(of_set.breed_id).exclude(pk__in=told).exclude(pk__in=seated)
    return _tell(of_set, Kind.OPENED, members.exclude(pk=by.pk) if by else members)


def invite_what_opens(on=None):
    """For the night: sets whose first day has come, of which nobody was told. In words how many members are told."""
    day = on or timezone.localdate()
    opened = CalibrationSet.objects.filter(state=SetState.OPEN, opens_on__lte=day, closes_on__gte=day)
    quiet = opened.exclude(news__kind=Kind.OPENED)
    return count_words(sum(invite(of_set=of_set, on=day) for of_set in quiet), "member") + " invited"


def tell_results(*, of_set):
    """Tell everybody who answered, and the officer who made the set, of the results; returns how many are told."""
    answered = Seat.objects.filter(of=of_set, answers__isnull=False).values("member")
    who = Q(pk__in=answered) | Q(pk=of_set.made_by_id, is_officer=True)
    return _tell(of_set, Kind.RESULT, Member.objects.filter(who, is_active=True))


def mark_seen(*, of_set, member):
    """The member has read on a page what a letter would tell of."""
    CalibrationNews.objects.filter(of=of_set, member=member, seen_at__isnull=True).update(seen_at=timezone.now())


def _tell(of_set, kind, members):
    from grading.tasks import send_calibration_news

    told = list(members.order_by("pk"))
    CalibrationNews.objects.bulk_create(
        [CalibrationNews(of=of_set, member=member, kind=kind) for member in told], ignore_conflicts=True
    )
    for member in told:
        if member.news_by == NewsBy.AT_ONCE:
            send_calibration_news.enqueue(member=member.pk)
    return len(told)
