"""What a season's plan puts on Today: proposals to answer, animals to look at again, and for its mentor answers."""

from collections import Counter
from datetime import timedelta

from django.db.models import Exists, OuterRef, Q
from django.urls import reverse
from django.utils import timezone

from herds.calendar.sources import Errand, TaskSource, register
from herds.calendar.task import Task
from herds.models import Herd
from herds.words import count_words, listed

from .models import Aim, ItemState, Look, SeasonItem, SeasonNews

ANSWER, LOOK = "season_answer", "season_look"
IN_TIME = timedelta(days=14)


def register_all():
    """Called once when the app is ready."""
    register(TaskSource("season", (ANSWER, LOOK), tasks, herd_of, errands))


def tasks(herds, today):
    """One line a herd for all that waits, one for each animal to look at again. One query."""
    looked = Look.objects.finished().filter(animal=OuterRef("animal"), finished_at__gte=OuterRef("answered_at"))
    waiting, again = Q(state=ItemState.PROPOSED), Q(state=ItemState.ACCEPTED, aim=Aim.LOOK, animal__herd__in=herds)
    items = SeasonItem.objects.filter(waiting | again & ~Exists(looked), herd__in=herds)
    items = list(items.select_related("herd", "animal", "written_by").order_by("pk"))
    for herd in {item.herd: None for item in items}:
        if proposed := [item for item in items if item.herd == herd and item.state == ItemState.PROPOSED]:
            yield _answer(herd, proposed)
    yield from (_look(item) for item in items if item.state == ItemState.ACCEPTED)


def herd_of(key, member):
    """The herd in which the member may put a line aside; None when it is not theirs."""
    number = key.partition("-")[2]
    if not number.isdecimal() or len(number) > 18:
        return None
    return Herd.objects.kept_by(member).filter(season_items=int(number)).first()


def errands(member):
    """For a mentor: the plans in which an answer was not read yet, a line for each herd. One query."""
    news = SeasonNews.objects.standing().filter(member=member, kind=SeasonNews.Kind.ANSWERED, seen_at__isnull=True)
    answered = Counter(row.item.herd for row in news.select_related("item__herd").order_by("item__herd__name"))
    for herd, count in answered.items():
        yield Errand(
            title=f"Your proposals for {herd} are answered",
            detail=count_words(count, "answer"),
            url=reverse("barn", args=[herd.slug]) + "#plan",
        )


def _answer(herd, items):
    """Its key names the newest proposal, so that a line put aside comes back with the next one."""
    day, who = timezone.localdate(items[0].written_at), sorted({str(item.written_by) for item in items})
    url = reverse("barn", args=[herd.slug]) + "#plan"
    return Task(
        key=f"{ANSWER}-{items[-1].pk}", kind=ANSWER, when=day, window=(day, day + IN_TIME), herd=herd.pk,
        subject=str(herd), title=f"{count_words(len(items), 'proposal')} for {herd}",
        detail=f"For the season's plan, by {listed(who)}.", url=url, link_url=url, link_label="Read and answer",
    )  # fmt: skip


def _look(item):
    day = timezone.localdate(item.answered_at)
    return Task(
        key=f"{LOOK}-{item.pk}", kind=LOOK, when=day, window=(day, day + IN_TIME), herd=item.herd_id,
        subject=str(item.animal), title=f"Look at {item.animal} again", detail=item.why,
        url=reverse("barn", args=[item.herd.slug]) + f"#item-{item.pk}",
        link_url=reverse("look-create", args=[item.animal_id]), link_label="Look now",
    )  # fmt: skip
