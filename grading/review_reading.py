"""What review pages read: lists, and both sides of a review animal by animal. A fixed number of queries a page."""

from collections import defaultdict
from dataclasses import dataclass, field

from django.db.models import Count, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce, Now
from django.utils import timezone

from herds.models import AnimalGrant, Decision, Herd, Verdict

from . import photo_reading
from .models import (
    Answer,
    Drawing,
    Look,
    Photo,
    ProfileTrait,
    Review,
    ReviewAnimal,
    ReviewNews,
    ReviewState,
    ReviewWord,
    ViewWish,
)
from .photo_guide import in_full
from .review_missing import photo_url
from .review_words import agreement_words, differences, pairs_of

LIST_SHOWN = 60
PHOTOS_OFFERED = 8


@dataclass
class Side:
    """One animal of a review as its page shows it."""

    of: ReviewAnimal
    own_look: Look | None = None
    mentor_look: Look | None = None
    pairs: list = field(default_factory=list)
    drawn: list = field(default_factory=list)
    hidden_drawings: int = 0
    wishes: list = field(default_factory=list)
    talk: list = field(default_factory=list)
    decided: Decision | None = None
    kept: bool = False

    @property
    def animal(self):
        return self.of.animal

    @property
    def differing(self):
        return differences(self.pairs)

    @property
    def agreement(self):
        return agreement_words(self.pairs)

    @property
    def opinion(self):
        return str(Verdict(self.of.opinion).label) if self.of.opinion else ""

    @property
    def to_do(self):
        """True while the owner has neither decided nor put it aside."""
        return bool(self.kept and self.of.opinion and not self.of.acted_at and not self.decided)


@dataclass(frozen=True)
class DrawnPhoto:
    """A photo with what was drawn on it; `shapes` are numbered and in the photo's own pixels."""

    photo: Photo
    shapes: list


def lists_for(member):
    """(open of my herds, put to me or taken, the queue, over) for the list of reviews."""
    shown = Review.objects.select_related("herd", "mentor", "asked_by").annotate(size=Count("animals"))
    news = ReviewNews.objects.filter(member=member, seen_at__isnull=True, review=OuterRef("pk"))
    visible = shown.visible_to(member).annotate(told=Subquery(news.order_by("-at").values("kind")[:1]))
    rows = list(visible.order_by("-asked_at", "-pk")[:LIST_SHOWN])
    for row in rows:
        row.news_words = ReviewNews.Kind(row.told).label if row.told else ""
    return {
        "mine": [row for row in rows if row.is_open and row.mentor_id != member.pk],
        "for_me": [row for row in rows if row.is_open and row.mentor_id == member.pk],
        "queue": list(shown.in_queue_for(member).order_by("put_at", "pk")[:LIST_SHOWN]),
        "over": [row for row in rows if not row.is_open],
        "told": list(unreadable_news(member)),
    }


def unreadable_news(member):
    """News of reviews that the member may not open any more: handed on, or taken back."""
    news = ReviewNews.objects.filter(member=member, seen_at__isnull=True)
    return news.exclude(review__in=Review.objects.visible_to(member).values("pk")).select_related("review__herd")


def sides_of(review, member):
    """A `Side` for each animal of a review, as far as the member may see it."""
    animals = list(_animals(review, member))
    own = Look.objects.visible_to(member).select_related("age_class", "observer")
    own = own.in_bulk([each.own_look_pk for each in animals if each.own_look_pk])
    looks = [*own.values(), *(each.look for each in animals if each.look)]
    answers = _answers(looks)
    rows = _schedule_rows(looks)
    drawn, hidden = _drawn(review, member)
    talk, wishes = _talk(review), _wishes(review, member)
    kept = Herd.objects.kept_by(member).filter(pk=review.herd_id).exists()
    decided = _decided(review, animals) if kept else {}
    for each in animals:
        mine, theirs = own.get(each.own_look_pk), each.look
        basis = theirs or mine
        yield Side(
            of=each,
            own_look=mine,
            mentor_look=theirs,
            pairs=list(
                pairs_of(
                    rows[basis.profile_id],
                    basis.age_class.code if basis.age_class else None,
                    answers[mine.pk] if mine else {},
                    answers[theirs.pk] if theirs else {},
                )
            )
            if basis
            else [],
            drawn=drawn[each.pk],
            hidden_drawings=hidden[each.pk],
            wishes=wishes[each.pk],
            talk=talk[each.pk],
            decided=decided.get(each.animal_id),
            kept=kept and each.animal.herd_id == review.herd_id,
        )


def closed_to_mentor(review, sides):
    """The animals of an open review that its mentor may not see today, of those that still stand in the herd."""
    if not review.is_open or review.mentor_id is None:
        return []
    opened = AnimalGrant.objects.running().filter(mentor=review.mentor_id, animal__in=[side.animal for side in sides])
    seen = set(opened.values_list("animal", flat=True))
    return [side.animal for side in sides if side.kept and side.animal.pk not in seen]


def _animals(review, member):
    """The review's animals with `own_look_pk`: the newest look by a keeper, finished before the mentor graded."""
    before = (
        Look.objects.visible_to(member)
        .current()
        .by_keepers()
        .filter(animal=OuterRef("animal"), finished_at__lte=Coalesce(OuterRef("graded_at"), Now()))
    )
    if review.mentor_id:
        before = before.exclude(observer=review.mentor_id)
    newest = before.order_by("-observed_on", "-pk").values("pk")[:1]
    rows = review.animals.select_related("animal__herd", "animal__breed", "look__age_class", "look__observer")
    return rows.annotate(own_look_pk=Subquery(newest)).order_by("position")


def _answers(looks):
    found = defaultdict(dict)
    for answer in Answer.objects.filter(look__in=[look.pk for look in looks]):
        found[answer.look_id][answer.trait_id, answer.site] = answer
    return found


def _schedule_rows(looks):
    rows = ProfileTrait.objects.filter(profile__in={look.profile_id for look in looks}).select_related("trait")
    by_profile = defaultdict(list)
    for row in rows.prefetch_related("step_texts").order_by("trait__section", "trait__position"):
        by_profile[row.profile_id].append(row)
    return by_profile


def _drawn(review, member):
    """By ReviewAnimal: the photos with drawings that the member may see, and how many drawings are out of sight."""
    drawings = list(Drawing.objects.filter(of__review=review).order_by("photo", "made_at", "pk"))
    photos = Photo.objects.visible_to(member).filter(pk__in={each.photo_id for each in drawings}, state="ready")
    seen = photos.select_related("animal").in_bulk()
    by_photo, hidden = defaultdict(list), defaultdict(int)
    for each in drawings:
        if each.photo_id in seen:
            by_photo[each.of_id, each.photo_id].append(each)
        else:
            hidden[each.of_id] += 1
    shown = defaultdict(list)
    for (of, photo_id), those in by_photo.items():
        photo = photo_reading.shown_as(seen[photo_id], seen[photo_id].animal)
        shown[of].append(DrawnPhoto(photo, [shape_of(photo, each, n) for n, each in enumerate(those, 1)]))
    return shown, hidden


def shape_of(photo, drawing, number):
    """A drawing in the photo's pixels, with the arrow's head; every length is a part of the photo's longer side."""
    width, height = photo.width, photo.height
    unit = max(width, height) / 100
    x1, y1, x2, y2 = drawing.x1 * width, drawing.y1 * height, drawing.x2 * width, drawing.y2 * height
    shape = {
        "number": number, "words": drawing.words, "is_arrow": drawing.shape == Drawing.Shape.ARROW,
        "x1": _short(x1), "y1": _short(y1), "x2": _short(x2), "y2": _short(y2),
        "left": _short(min(x1, x2)), "top": _short(min(y1, y2)),
        "width": _short(abs(x2 - x1)), "height": _short(abs(y2 - y1)),
        "size": _short(3.4 * unit),
        # The number stands where the drawing begins, kept within the frame.
        "at_x": _short(min(max(min(x1, x2) if drawing.shape == "box" else x1, 3 * unit), width - 3 * unit)),
        "at_y": _short(min(max(min(y1, y2) if drawing.shape == "box" else y1, 3 * unit), height - 3 * unit)),
        "radius": _short(2.4 * unit),
    }  # fmt: skip
    if shape["is_arrow"]:
        shape["head"] = arrow_head(x1, y1, x2, y2, 3.2 * unit)
    return shape


def arrow_head(x1, y1, x2, y2, size):
    """The three corners of an arrow's head at (x2, y2), as SVG points."""
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5 or 1.0
    dx, dy = (x2 - x1) / length * size, (y2 - y1) / length * size
    corners = [(x2, y2), (x2 - dx - dy / 2, y2 - dy + dx / 2), (x2 - dx + dy / 2, y2 - dy - dx / 2)]
    return " ".join(f"{_short(x)},{_short(y)}" for x, y in corners)


def _short(number):
    return f"{number:.1f}"


def _talk(review):
    talk = defaultdict(list)
    for word in ReviewWord.objects.filter(review=review).select_related("author"):
        talk[word.of_id].append(word)
    return talk


def whole_talk(review, *, blind=False):
    """What was written under the review as a whole; for who grades blind, only since it came to them.

    An earlier mentor, and the owner's answers to them, may say what the animals were given.
    """
    words = ReviewWord.objects.filter(review=review, of__isnull=True).select_related("author")
    return words.filter(said_at__gte=review.put_at) if blind and review.handed_on_at else words


def talk_of(of):
    """What was written under one animal of a review."""
    return ReviewWord.objects.filter(of=of).select_related("author")


def words_waiting(review):
    """[(position, words, whether it is graded)] of the animals under which something was written."""
    rows = review.animals.annotate(words=Count("talk")).filter(words__gt=0).order_by("position")
    return [(of.position, of.words, of.graded_at is not None) for of in rows]


def _wishes(review, member):
    """By ReviewAnimal: what the mentor asked for, with the guide's words and the photos that may show it already."""
    wishes = ViewWish.objects.filter(of__review=review).select_related("of", "met_by").order_by("asked_at", "pk")
    wishes = list(wishes)
    open_animals = {wish.of.animal_id for wish in wishes if wish.settled_at is None}
    photos = defaultdict(list)
    if open_animals:
        offered = Photo.objects.editable_by(member).shown().filter(animal__in=open_animals)
        for photo in offered.select_related("animal").order_by("-taken_on", "-pk"):
            photos[photo.animal_id].append(photo)
    found = defaultdict(list)
    for wish in wishes:
        wish.how, wish.picture = in_full(wish.view), f"img/views/{wish.view}.webp"
        wish.photo_url = photo_url(wish.of.animal_id, wish.view, review.get_absolute_url())
        wish.photos = photos[wish.of.animal_id][:PHOTOS_OFFERED]
        found[wish.of_id].append(wish)
    return found


def _decided(review, animals):
    """By animal: the herd's first decision since the answer came."""
    if review.closed_at is None:
        return {}
    decisions = Decision.objects.filter(animal__in=[each.animal_id for each in animals], herd=review.herd_id)
    since = {"made_at__gte": review.closed_at, "decided_on__gte": timezone.localdate(review.closed_at)}
    decisions = decisions.filter(**since).exclude(verdict=Verdict.UNDECIDED)
    return {decision.animal_id: decision for decision in decisions.order_by("-pk")}


def reviews_of_animal(animal, member):
    """The reviews of one animal that the member may read, the newest first, for its page."""
    shown = ReviewAnimal.objects.filter(animal=animal, review__in=Review.objects.visible_to(member).values("pk"))
    # A mentor who still grades blind is shown nothing here; nor is anybody what was withdrawn before its answer.
    shown = shown.exclude(Q(review__mentor=member.pk) & ~Q(review__state=ReviewState.ANSWERED))
    shown = shown.annotate(words=Count("talk")).select_related("review__mentor", "review__herd", "look")
    return shown.order_by("-review__asked_at", "-pk")
