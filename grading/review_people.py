"""What reviews add to a member's own data, and what becomes of them when a member leaves."""

from django.db.models import Q

from clubsite.members.places import DataFile, Leaving, register
from herds.models import Herd
from herds.words import count_words

from .actions.reviews import leave_reviews, only_kept_by
from .models import Drawing, Review, ReviewAnimal, ReviewState, ReviewWord, ViewWish

CHUNK = 2000


def register_all():
    """Called once when the app is ready."""
    register(Leaving("reviews", 5, carry_out=leave_reviews, explain=explain_leaving))
    for order, (name, about, columns, rows) in enumerate(FILES, 46):
        register(DataFile(name, about, order, columns, rows))


def explain_leaving(member):
    """What becomes of the member's open reviews, a sentence each."""
    taken_back = Review.objects.open().filter(herd__in=only_kept_by(member)).count()
    if taken_back:
        be = "is" if taken_back == 1 else "are"
        yield f"{count_words(taken_back, 'review request')} of your herd {be} taken back."
    handed_on = Review.objects.open().filter(mentor=member).count()
    if handed_on:
        yield (
            f"{count_words(handed_on, 'review request')} put to you {'goes' if handed_on == 1 else 'go'} to the club's "
            "queue. What you wrote in them so far stays readable for the owners, without your name."
        )


def reviews_of(member):
    """Reviews asked for the member's herds, and those the member gave; of a withdrawn one its mentor keeps nothing."""
    given = Q(mentor=member.pk) & ~Q(state=ReviewState.WITHDRAWN)
    return Review.objects.filter(Q(herd__in=Herd.objects.kept_by(member)) | given)


def reviews(member):
    rows = reviews_of(member).select_related("herd", "asked_by", "mentor").order_by("pk")
    for row in rows.iterator(chunk_size=CHUNK):
        answered = row.state == ReviewState.ANSWERED or row.mentor_id == member.pk
        yield [
            row.pk, row.herd.name, row.asked_by.name, row.asked_at, row.get_question_display(), row.words,
            row.mentor.name if row.mentor else "", row.ends_on, row.get_state_display(),
            row.summary if answered else "", row.closed_at,
        ]  # fmt: skip


def blind(of, member):
    """Whether the member still has to grade the animal blind, in a review that is open to them."""
    return of.review.mentor_id == member.pk and of.review.is_open and of.graded_at is None


def told(of, member):
    """[key, name] of an animal; its place in the review for who grades it blind."""
    return ["", f"animal {of.position}"] if blind(of, member) else [of.animal_id, str(of.animal)]


def animals(member):
    """Advice per animal: the owner's once the review is answered, the mentor's own at any time."""
    written = Q(review__state=ReviewState.ANSWERED) | Q(review__mentor=member.pk)
    rows = ReviewAnimal.objects.filter(written, review__in=reviews_of(member).values("pk"))
    for row in rows.select_related("animal", "review").order_by("review_id", "position").iterator(chunk_size=CHUNK):
        yield [
            row.review_id, *told(row, member), row.look_id, row.photo_problem, row.advice,
            row.get_opinion_display(), row.opinion_reason, row.acted_at,
        ]  # fmt: skip


def drawings(member):
    written = Q(of__review__state=ReviewState.ANSWERED) | Q(of__review__mentor=member.pk)
    rows = Drawing.objects.filter(written, of__review__in=reviews_of(member).values("pk"))
    for row in rows.select_related("of__animal", "of__review", "photo").order_by("pk").iterator(chunk_size=CHUNK):
        yield [
            row.of.review_id, told(row.of, member)[0], str(row.photo.key), row.shape, row.x1, row.y1, row.x2, row.y2,
            row.words,
        ]  # fmt: skip


def wishes(member):
    rows = ViewWish.objects.filter(of__review__in=reviews_of(member).values("pk"))
    rows = rows.select_related("of__animal", "of__review")
    for row in rows.order_by("pk").iterator(chunk_size=CHUNK):
        yield [
            row.of.review_id, *told(row.of, member), row.get_view_display(), row.why, row.asked_at,
            row.settled_at, row.declined,
        ]  # fmt: skip


def words(member):
    rows = ReviewWord.objects.filter(Q(review__in=reviews_of(member).values("pk")) | Q(author=member.pk))
    for row in rows.select_related("author", "of__animal", "review").order_by("pk").iterator(chunk_size=CHUNK):
        if member.pk == row.review.mentor_id and row.author_id != member.pk and row.of and blind(row.of, member):
            continue
        yield [row.review_id, row.of and told(row.of, member)[0], row.author.name, row.said_at, row.words]


FILES = (
    ("reviews", "reviews asked for your herds, and those you gave.", (
        "review", "herd", "asked by", "asked", "question", "words", "mentor", "open until", "state", "summary",
        "over"), reviews),
    ("review-animals", "what was advised about each animal.", (
        "review", "animal", "mark and name", "look", "photo not good enough because", "advice", "opinion", "why",
        "acted on"), animals),
    ("review-drawings", "what was drawn on photos in reviews, as parts of the picture's width and height.", (
        "review", "animal", "photo", "shape", "x1", "y1", "x2", "y2", "words"), drawings),
    ("review-wishes", "other photos that a mentor asked for.", (
        "review", "animal", "mark and name", "view", "why", "asked", "settled", "why not"), wishes),
    ("review-talk", "what owners and mentors wrote to each other under these reviews.", (
        "review", "animal", "author", "at", "words"), words),
)  # fmt: skip
