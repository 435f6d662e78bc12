"""What reviews put on Today: for owners a photo to take, an answer to read and to act on; for mentors what waits."""

from datetime import datetime, timedelta

from django.db.models import DateTimeField, Exists, ExpressionWrapper, OuterRef
from django.db.models.functions import TruncDate
from django.utils import timezone

from herds.calendar.sources import Errand, TaskSource, register
from herds.calendar.task import Task
from herds.models import Decision, Herd, Verdict
from herds.words import count_words, day_words

from .models import Review, ReviewAnimal, ReviewNews, ReviewState, ViewWish
from .photo_guide import in_full
from .review_missing import photo_url

WISH, READ, ACT, LATE = "review_wish", "review_read", "review_act", "review_late"
ACT_WITHIN = timedelta(days=28)  # an opinion older than that helps no more: common practice, no source
DAYS_TO_ANSWER = timedelta(days=7)


def register_all():
    """Called once when the app is ready."""
    register(TaskSource("reviews", (WISH, READ, ACT, LATE), tasks, herd_of, errands))


def tasks(herds, today):
    """The review tasks of these herds; four queries."""
    yield from map(_wish, open_wishes(herds))
    yield from map(_read, unread_answers(herds))
    yield from map(_act, open_opinions(herds))
    late = Review.objects.open().filter(herd__in=herds, ends_on__lt=today)
    yield from map(_late, late.select_related("mentor").order_by("ends_on", "pk"))


def open_wishes(herds):
    wishes = ViewWish.objects.filter(of__review__herd__in=herds, settled_at__isnull=True)
    wishes = wishes.filter(of__review__state=ReviewState.TAKEN, of__animal__herd__in=herds)
    return wishes.select_related("of__animal", "of__review__mentor").order_by("asked_at", "pk")


def unread_answers(herds):
    """Answered reviews whose news some keeper of the herd has not read; nobody's who was told of nothing."""
    news = ReviewNews.objects.filter(review=OuterRef("pk"), kind=ReviewNews.Kind.ANSWERED)
    answered = Review.objects.filter(herd__in=herds, state=ReviewState.ANSWERED)
    answered = answered.filter(Exists(news.filter(seen_at__isnull=True)))
    return answered.exclude(Exists(news.filter(seen_at__isnull=False))).select_related("mentor").order_by("closed_at")


def open_opinions(herds):
    """Opinions of late that were neither followed by a decision nor put aside, of animals that still stand there."""
    decided = Decision.objects.filter(
        animal=OuterRef("animal"),
        herd=OuterRef("review__herd"),
        made_at__gte=OuterRef("review__closed_at"),
        decided_on__gte=TruncDate(ExpressionWrapper(OuterRef("review__closed_at"), DateTimeField())),
    ).exclude(verdict=Verdict.UNDECIDED)
    opinions = ReviewAnimal.objects.filter(review__herd__in=herds, review__state=ReviewState.ANSWERED)
    opinions = opinions.filter(animal__herd__in=herds, animal__status__in=["here", "on_loan"], acted_at__isnull=True)
    opinions = opinions.filter(review__closed_at__gte=timezone.now() - ACT_WITHIN).exclude(opinion="")
    return opinions.exclude(Exists(decided)).select_related("animal", "review__mentor").order_by("review", "position")


def herd_of(key, member):
    """The herd in which the member may put a line aside; None when it is not theirs."""
    kind, _, number = key.partition("-")
    if not number.isdecimal() or len(number) > 18:
        return None
    review = {
        WISH: Review.objects.filter(animals__wishes=int(number)),
        READ: Review.objects.filter(pk=int(number)),
        LATE: Review.objects.filter(pk=int(number)),
        ACT: Review.objects.filter(animals=int(number)),
    }[kind]
    return Herd.objects.kept_by(member).filter(pk__in=review.values("herd")).first()


def errands(member):
    """What waits for the member as mentor: requests put to them, reviews that they took, and the queue's length."""
    waiting = Review.objects.for_mentor(member).open().filter(ends_on__gte=timezone.localdate())
    for review in waiting.select_related("herd").order_by("put_at", "pk"):
        taken = review.state == ReviewState.TAKEN
        yield Errand(
            title=f"Go on with the review for {review.herd}" if taken else f"A review is asked of you: {review.herd}",
            detail=review.get_question_display(),
            url=review.get_absolute_url(),
            due=f"Open until {day_words(review.ends_on)}",
        )
    if member.takes_reviews and (waiting := Review.objects.in_queue_for(member).count()):
        from django.urls import reverse

        yield Errand(
            title="The club's queue of reviews",
            detail=f"{count_words(waiting, 'request')} without a mentor",
            url=reverse("review-list"),
        )


def _wish(wish):
    review = wish.of.review
    return _task(
        f"{WISH}-{wish.pk}", WISH, wish.asked_at, review, wish.of.animal,
        title=f"Photograph {wish.of.animal}: {wish.get_view_display()}",
        detail=in_full(wish.view),
        link=(photo_url(wish.of.animal_id, wish.view, review.get_absolute_url()), "Take it"),
    )  # fmt: skip


def _read(review):
    return _task(
        f"{READ}-{review.pk}", READ, review.closed_at, review, review.mentor,
        title="A review is answered", detail=review.get_question_display(),
        link=(review.get_absolute_url(), "Read it"),
    )  # fmt: skip


def _act(of):
    return _task(
        f"{ACT}-{of.pk}", ACT, of.review.closed_at, of.review, of.animal,
        title=f"Decide about {of.animal}",
        detail=f"{of.review.mentor} would: {Verdict(of.opinion).label}",
        link=(f"{of.review.get_absolute_url()}#animal-{of.pk}", "Read and decide"),
    )  # fmt: skip


def _late(review):
    whom = f"{review.mentor} sees them no longer" if review.mentor else "nobody can take it any more"
    return _task(
        f"{LATE}-{review.pk}", LATE, review.ends_on, review, review.mentor,
        title="The last day of a review is past",
        detail=f"Open the animals longer, or take the request back: {whom}.",
        link=(review.get_absolute_url(), "Open it longer"),
    )  # fmt: skip


def _task(key, kind, since, review, subject, *, title, detail, link):
    day = timezone.localdate(since) if isinstance(since, datetime) else since
    return Task(
        key=key,
        kind=kind,
        when=day,
        window=(day, day + DAYS_TO_ANSWER),
        herd=review.herd_id,
        subject=str(subject),
        title=title,
        detail=detail,
        url=review.get_absolute_url(),
        link_url=link[0],
        link_label=link[1],
    )
