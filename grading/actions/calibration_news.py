"""Telling graders that a calibration set is open, that it closes soon, and that its results are there."""

from datetime import timedelta

from django.db.models import Q
from django.utils import timezone

from clubsite.members.models import Club, Member, NewsBy
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


def remind(*, of_set, days, on=None):
    """Tell those who have not finished that the set closes soon, once each; returns how many are told.

    They are those who began, and those who grade and have not begun. Nobody is told before `days` days are left, nor
    where the set was open for no longer than that. Whoever heard of its opening within these days is left in peace.
    """
    day, since = on or timezone.localdate(), of_set.closes_on - timedelta(days=days)
    if of_set.state != SetState.OPEN or not of_set.opens_on < since <= day <= of_set.closes_on:
        return 0
    news, seats = CalibrationNews.objects.filter(of=of_set), of_set.seats.values("member")
    just_told = news.filter(kind=Kind.OPENED, at__date__gte=since).values("member")
    begun = Q(pk__in=seats.filter(finished_at__isnull=True), is_active=True)
    not_begun = Q(pk__in=graders_of(of_set.breed_id).values("pk")) & ~Q(pk__in=seats) & ~Q(pk__in=just_told)
    members = Member.objects.filter(begun | not_begun)
    return _tell(of_set, Kind.CLOSES, members.exclude(pk__in=news.filter(kind=Kind.CLOSES).values("member")))


def remind_of_what_closes(on=None):
    """For the night: open sets whose last day is near. In words how many members are reminded."""
    day, days = on or timezone.localdate(), Club.current().calibration_reminder_days
    near = CalibrationSet.objects.filter(state=SetState.OPEN, closes_on__range=(day, day + timedelta(days=days)))
    return count_words(sum(remind(of_set=of_set, days=days, on=day) for of_set in near), "member") + " reminded"


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
