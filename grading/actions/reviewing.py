"""Reviews, the mentor's side: grade blind, say why photos do not do, ask for a view, draw, advise, finish.

Nothing here shows anything; each step asks again whether the review and the animal are still open to the mentor, since
an owner may close them while the mentor types.
"""

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from grading.actions import looks
from grading.actions.reviews import tell
from grading.models import (
    BreedProfile,
    Drawing,
    FindingKind,
    Look,
    LookFinding,
    Mode,
    Photo,
    Review,
    ReviewAnimal,
    ReviewNews,
    ReviewState,
    Role,
    View,
    ViewWish,
)
from herds.models import Animal, AnimalGrant, Verdict
from herds.words import count_words

CLOSED = "This review is closed to you now: its last day passed, or its owner took it back. What was saved stays saved."
ANIMAL_CLOSED = "This animal is closed to you now. What you saved of it stays saved."
OPINIONS = (Verdict.KEEP, Verdict.GROW_ON, Verdict.LET_GO)
MOST_DRAWINGS = 12


class ReviewClosed(Exception):
    """The review, or the animal, is no longer open to this mentor; says so in a sentence."""


def begin_look(*, of, by):
    """The blind look of an animal, begun now unless it was; raises ReviewClosed, or ValidationError."""
    with rules_explained():
        of = _open(of, by)
        if of.graded_at is not None:
            raise ValidationError("You graded this animal already.")
        if of.look_id is not None:
            return of.look if of.look.editable_until > timezone.now() else _another_day(of, by)
        animal = Animal.objects.select_related("breed").get(pk=of.animal_id)
        open_one = Look.objects.filter(animal=animal, observer=by, mode=Mode.PHOTO, finished_at__isnull=True)
        look = open_one.filter(editable_until__gt=timezone.now()).first()
        if look is None:
            facts = _facts_of(animal, by)
            look = looks.start_look(animal=animal, mode=Mode.PHOTO, role=Role.MENTOR, by=by, **facts)
        of.look = look
        of.save(update_fields=["look"])
    return look


def save_steps(*, of, answers, by, given_at=None):
    """Save (trait, site, step) answers of the blind look; what is new on another day goes into a look of that day."""
    with rules_explained():
        of = _open(of, by)
        if of.look_id is None:
            raise ValidationError("Begin with this animal first.")
        if of.graded_at is not None:
            raise ValidationError("You saved your grading of this animal; it stays as it is.")
        look = of.look
        if look.editable_until <= timezone.now():
            answers = _new_ones(look, answers)
            look = _another_day(of, by) if answers else look
        return looks.save_answers(look=look, answers=answers, by=by, given_at=given_at)


def save_grading(*, of, by, coat_stage="", seen=()):
    """Close the blind look: from now on the owner's steps are shown, and nothing of the look changes any more.

    seen : codes of findings that the photos show. A look whose day is over is taken as it stands, unless a coat stage
    or a finding is new: then one of today takes its place.
    """
    with rules_explained():
        of = _open(of, by)
        if of.graded_at is not None:
            return of
        if of.look_id is None or not of.look.answers.exists():
            raise ValidationError(
                "Give at least one step before you save your grading, or say why the photos do not do."
            )
        if of.look.editable_until <= timezone.now() and (seen or coat_stage not in ("", of.look.coat_stage)):
            _another_day(of, by)
        if of.look.editable_until > timezone.now():
            if coat_stage:
                looks.save_facts(look=of.look, by=by, coat_stage=coat_stage)
            for kind in FindingKind.objects.filter(code__in=seen):
                looks.save_finding(look=of.look, kind=kind, state=LookFinding.State.SEEN, by=by)
            looks.finish_look(look=of.look, by=by)
            Look.objects.filter(pk=of.look_id).update(editable_until=timezone.now())
        of.graded_at, of.photo_problem = timezone.now(), ""
        of.save(update_fields=["graded_at", "photo_problem"])
        AnimalGrant.objects.running().filter(animal=of.animal_id, mentor=by).update(with_looks=True)
    return of


def refuse_photos(*, of, why, by):
    """Say why the photos are not good enough to grade; the owner reads it with the review."""
    why = _words(why, "why", 300, "Say what is wrong with the photos: blurred, too dark, the coat not parted.")
    with rules_explained():
        of = _open(of, by)
        if of.graded_at is not None:
            raise ValidationError("You graded this animal already. Write what is missing into your advice.")
        of.photo_problem, of.done_at = why, timezone.now()
        of.save(update_fields=["photo_problem", "done_at"])
    return of


def wish_view(*, of, view, why, by):
    """Ask the owner for another photo; they get it on Today with the picture guide."""
    why = _words(why, "why", 300, "Say what the photo is to show.")
    if view not in View.values:
        raise ValidationError({"view": "Choose a view."})
    with rules_explained():
        of = _open(of, by)
        wish = ViewWish(of=of, view=view, why=why)
        wish.full_clean(exclude=["of"])
        wish.save()
        tell(review=of.review, kind=ReviewNews.Kind.WISH, by=by)
    return wish


def advise(*, of, by, advice="", opinion="", opinion_reason=""):
    """Advice and opinion on one animal; with that it is done, and may be changed until the review is finished."""
    if opinion and opinion not in OPINIONS:
        raise ValidationError({"opinion": "Choose keep, grow on or let go, or none."})
    if opinion and not opinion_reason.strip():
        raise ValidationError({"opinion_reason": "Give a reason with your opinion: the owner decides by it."})
    if len(advice) > 4000:
        raise ValidationError({"advice": "Shorten the advice to 4,000 letters."})
    if len(opinion_reason) > 300:
        raise ValidationError({"opinion_reason": "Shorten the reason to 300 letters."})
    with rules_explained():
        of = _open(of, by)
        if of.graded_at is None and not of.photo_problem:
            raise ValidationError("Save your grading first, or say why the photos do not do.")
        of.advice, of.opinion = advice.strip(), opinion
        of.opinion_reason = opinion_reason.strip() if opinion else ""
        of.done_at = timezone.now()
        of.save(update_fields=["advice", "opinion", "opinion_reason", "done_at"])
    return of


def keep_advice(*, of, by, advice="", opinion="", opinion_reason=""):
    """Keep advice that is still being written; with it the animal is not done, and an opinion waits for its reason."""
    with rules_explained():
        of = _open(of, by)
        if of.graded_at is not None or of.photo_problem:
            of.advice, of.opinion_reason = advice.strip()[:4000], " ".join(opinion_reason.split())[:300]
            of.opinion = opinion if opinion in OPINIONS and of.opinion_reason else ""
            of.save(update_fields=["advice", "opinion", "opinion_reason"])
    return of


def draw(*, of, photo, shape, x1, y1, x2, y2, by, words=""):
    """Draw an arrow or a box on a photo of the animal; coordinates are fractions of the image, 0 to 1."""
    with rules_explained():
        of = _open(of, by)
        if not Photo.objects.visible_to(by).shown().filter(pk=photo.pk, animal=of.animal_id).exists():
            raise ValidationError("The owner took this photo back, so nothing can be drawn on it.")
        if of.drawings.count() >= MOST_DRAWINGS:
            raise ValidationError(f"There are {MOST_DRAWINGS} drawings already. Remove one first.")
        drawing = Drawing(of=of, photo=photo, shape=shape, x1=x1, y1=y1, x2=x2, y2=y2, words=words.strip())
        drawing.full_clean(exclude=["of", "photo"])
        drawing.save()
    return drawing


def remove_drawing(*, drawing, by):
    """Take a drawing away again."""
    with rules_explained():
        _open(drawing.of, by)
        drawing.delete()


def finish_review(*, review, summary, by, why_open=""):
    """Send the answer to the owner. With animals still open it is refused, unless a reason says why they are left."""
    if len(summary) > 6000:
        raise ValidationError({"summary": "Shorten the summary to 6,000 letters."})
    with rules_explained():
        row = Review.objects.select_for_update(of=("self",)).get(pk=review.pk)
        if not Review.objects.answerable_by(by).filter(pk=row.pk).exists():
            raise ReviewClosed(CLOSED)
        left = list(row.animals.filter(done_at__isnull=True).select_related("animal"))
        if left and not why_open.strip():
            raise ValidationError(
                {"why_open": f"{count_words(len(left), 'animal')} still open. Say why you leave them, or go back."}
            )
        if len(left) == row.animals.count():
            raise ValidationError("No animal is reviewed yet. Hand the request on if you cannot answer it.")
        for of in left:
            if of.graded_at is None:
                of.photo_problem = f"Not reviewed: {why_open.strip()}"[:300]
            of.done_at = timezone.now()
            of.save(update_fields=["photo_problem", "done_at"])
        row.summary, row.state, row.closed_at = summary.strip(), ReviewState.ANSWERED, timezone.now()
        row.save(update_fields=["summary", "state", "closed_at"])
        tell(review=row, kind=ReviewNews.Kind.ANSWERED, by=by)
    return row


def is_open(of, by):
    """Whether the animal of a review may be graded by this mentor right now."""
    answerable = Review.objects.answerable_by(by).filter(pk=of.review_id).exists()
    return answerable and Animal.objects.gradable_by(by).filter(pk=of.animal_id).exists()


def _open(of, by):
    """The row, locked, if both the review and the animal are open to the mentor still."""
    row = ReviewAnimal.objects.select_for_update(of=("self",)).select_related("review", "look", "animal").get(pk=of.pk)
    if not Review.objects.answerable_by(by).filter(pk=row.review_id).exists():
        raise ReviewClosed(CLOSED)
    if not Animal.objects.gradable_by(by).filter(pk=row.animal_id).exists():
        raise ReviewClosed(ANIMAL_CLOSED)
    return row


def _another_day(of, by):
    """The day of a blind look ended before its grading did: a new one with the same answers takes its place."""
    before = of.look
    looks.close_left_open(by=by)
    given = list(before.answers.select_related("trait"))
    if given:
        facts = {"mode": Mode.PHOTO, "role": Role.MENTOR, "light": before.light, "observed_on": before.observed_on}
        look = looks.start_look(
            animal=of.animal, by=by, supersedes=before, reason="Graded on from an earlier day.", **facts
        )
        looks.save_answers(look=look, answers=[(each.trait, each.site, each.step) for each in given], by=by)
    else:  # without an answer it went with its day
        look = looks.start_look(animal=of.animal, mode=Mode.PHOTO, role=Role.MENTOR, by=by, **_facts_of(of.animal, by))
    of.look = look
    of.save(update_fields=["look"])
    return look


def _new_ones(look, answers):
    """Those of the answers that the look does not hold already."""
    held = {(each.trait_id, each.site): (each.step, each.cannot_tell) for each in look.answers.all()}
    return [(trait, site, step) for trait, site, step in answers if held.get((trait.pk, site)) != (step, step is None)]


def _facts_of(animal, by):
    """Day and light of the newest photo, so that the look counts at the age that the photos show.

    No light where the photo tells none; today where that day cannot be right or had no profile yet.
    """
    photos = Photo.objects.visible_to(by).shown().filter(animal=animal).order_by("-taken_on", "-pk")
    day, light = photos.values_list("taken_on", "light").first() or (timezone.localdate(), "")
    today = timezone.localdate()
    fits = (animal.born_on or day) <= day <= today and BreedProfile.in_force(animal.breed_id, day) is not None
    return {"observed_on": day if fits else today, "light": light}


def _words(text, name, most, missing):
    text = " ".join(text.split())
    if not text:
        raise ValidationError({name: missing})
    if len(text) > most:
        raise ValidationError({name: f"Shorten this to {most} letters."})
    return text
