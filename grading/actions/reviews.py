"""Reviews, the owner's side: ask, hand on, withdraw, talk, act. What the mentor writes is in actions/reviewing.py.

An owner opens single animals to the mentor in the step that asks; for the club's queue they are opened to whoever
takes the request, in the step that takes it.
"""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from clubsite.members.models import Member, NewsBy
from grading.models import (
    Drawing,
    Question,
    Review,
    ReviewAnimal,
    ReviewNews,
    ReviewState,
    ReviewWord,
    ViewWish,
)
from grading.tasks import send_review_news
from herds.actions.animal_grants import close_animals, open_animals
from herds.actions.grants import check_end, check_mentor
from herds.models import Animal, Herd, Ownership, Verdict
from herds.words import day_words, listed

MOST_ANIMALS = 40
BUNDLED_MINUTES = 4  # several news within this time go out as one letter
GONE_FROM_QUEUE = (
    "This request is no longer in the queue: another mentor took it, or its owner took it back. Nothing was opened to "
    "you."
)
CLOSED_TO_WORDS = "This review is closed to you now: its owner took it back, or it was handed on. Nothing was sent."
SETTLED_BEFORE = "This was settled meanwhile, by a new photo or by another keeper of the herd. Nothing was changed."
NO_LONGER_OPEN = "This review is over, so nothing was changed."

Kind = ReviewNews.Kind


def ask_review(*, herd, animals, question, ends_on, by, mentor=None, words="", litter=None):
    """Ask a mentor, or the club's queue (`mentor` None), about animals of one herd, in the order given.

    The same step opens these animals to the mentor until `ends_on`. Returns the review; raises ValidationError.
    """
    if not Herd.objects.editable_by(by).filter(pk=herd.pk).exists():
        raise NotYours
    refuse_youth(by)
    _check_asked(herd, animals, question, words)
    with rules_explained():
        herd = Herd.objects.select_for_update().get(pk=herd.pk)
        rows = _own_rows(herd, animals)
        check_end(ends_on)
        if mentor is not None:
            _check_chosen(herd, mentor, by)
        _refuse_asked_already(rows, mentor)
        review = Review.objects.create(
            herd=herd,
            litter=litter,
            asked_by=by,
            question=question,
            words=words.strip(),
            mentor=mentor,
            ends_on=ends_on,
        )
        ReviewAnimal.objects.bulk_create(
            ReviewAnimal(review=review, animal=animal, position=position) for position, animal in enumerate(rows, 1)
        )
        if mentor is not None:
            open_animals(animals=rows, mentor=mentor, ends_on=ends_on, by=by)
            tell(review=review, kind=Kind.ASKED, by=by)
    return review


def take_review(*, review, by):
    """A mentor takes a request that was put to them, or one from the queue; of two at once the first has it.

    From the queue the animals are opened to the mentor in this step, and the owner hears of it. Taking one's own again
    changes nothing.
    """
    with rules_explained():
        row = Review.objects.select_for_update(of=("self",)).select_related("herd", "asked_by").get(pk=review.pk)
        if row.state == ReviewState.TAKEN and row.mentor_id == by.pk:
            return row
        from_queue = Review.objects.in_queue_for(by).filter(pk=row.pk).exists()
        if not from_queue and not Review.objects.for_mentor(by).filter(pk=row.pk, state=ReviewState.ASKED).exists():
            raise ValidationError(GONE_FROM_QUEUE)
        if row.ends_on < timezone.localdate():
            raise ValidationError(
                f"The owner opened these animals until {day_words(row.ends_on)}, which is past. They can open them "
                "longer."
            )
        if from_queue:
            animals = [
                each.animal for each in row.animals.select_related("animal") if each.animal.herd_id == row.herd_id
            ]
            if not animals:
                raise ValidationError(f"None of these animals stands in {row.herd} any more.")
            check_mentor(row.herd, by, row.asked_by)
            _refuse_asked_already(animals, by)
            open_animals(animals=animals, mentor=by, ends_on=row.ends_on, by=row.asked_by)
        row.mentor, row.state, row.taken_at = by, ReviewState.TAKEN, timezone.now()
        row.save(update_fields=["mentor", "state", "taken_at"])
        if from_queue:
            tell(review=row, kind=Kind.TAKEN, by=by)
    return row


def withdraw_review(*, review, by):
    """The owner takes the request back: the animals are closed to the mentor at once.

    What the mentor wrote stays with the review and is shown to nobody.
    """
    if not Review.objects.editable_by(by).filter(pk=review.pk).exists():
        raise NotYours
    with rules_explained():
        row = _locked_open(review)
        _withdraw(row, by)
    return row


def prolong_review(*, review, ends_on, by):
    """Open the animals of a running review longer, or for fewer days."""
    if not Review.objects.editable_by(by).filter(pk=review.pk).exists():
        raise NotYours
    check_end(ends_on)
    with rules_explained():
        row = _locked_open(review)
        row.ends_on = ends_on
        row.save(update_fields=["ends_on"])
        if row.mentor_id is not None:
            _open_until(row, ends_on, by)
    return row


def hand_on(*, review, by=None):
    """Put a request back into the club's queue: its mentor's wish, or the night's when nobody answers (`by` None).

    The animals are closed to that mentor. What they wrote stays as words under the animals, and the next mentor
    begins with an empty page.
    """
    if by is not None and not Review.objects.for_mentor(by).filter(pk=review.pk).exists():
        raise NotYours
    with rules_explained():
        row = _locked_open(review)
        if row.mentor_id is None:
            return row
        _hand_on(row, by)
    return row


def say(*, review, words, by, of=None):
    """Owner and mentor write to each other under an animal (`of`, a ReviewAnimal) or under the whole review."""
    refuse_youth(by)
    if not Review.objects.visible_to(by).filter(pk=review.pk).exists():
        raise NotYours
    if review.state == ReviewState.WITHDRAWN:
        raise ValidationError({"words": "This review was taken back. Ask anew to go on talking."})
    if of is not None and of.review_id != review.pk:
        raise NotYours
    with rules_explained():
        word = ReviewWord(review=review, of=of, author=by, words=words.strip())
        word.full_clean(exclude=["review", "of", "author"])
        word.save()
        tell(review=review, kind=Kind.WORD, by=by)
    return word


def act_on(*, of, by):
    """The owner has read one animal's opinion and is done with it; what was decided is in the herd's decisions."""
    if not Review.objects.editable_by(by).filter(pk=of.review_id, state=ReviewState.ANSWERED).exists():
        raise NotYours
    ReviewAnimal.objects.filter(pk=of.pk, acted_at__isnull=True).update(acted_at=timezone.now())


def meet_wish(*, wish, photo, by):
    """The owner names the photo that the mentor asked for; the mentor is told."""
    _may_settle(wish, by)
    if photo.animal_id != wish.of.animal_id or photo.withdrawn_at is not None:
        raise ValidationError("Choose a photo of this animal that is not withdrawn.")
    with rules_explained():
        if not _settle(wish, met_by=photo):
            raise ValidationError(SETTLED_BEFORE)
        tell(review=wish.of.review, kind=Kind.PHOTO, by=by)


def decline_wish(*, wish, why, by):
    """The owner cannot or will not take the photo, and says why."""
    _may_settle(wish, by)
    refuse_youth(by)
    why = why.strip()
    if not why:
        raise ValidationError({"why": "Say in a few words why not, so that the mentor can go on without it."})
    if len(why) > 300:
        raise ValidationError({"why": "Shorten this to 300 letters."})
    with rules_explained():
        if not _settle(wish, declined=why):
            raise ValidationError(SETTLED_BEFORE)
        tell(review=wish.of.review, kind=Kind.PHOTO, by=by)


def photo_came(*, photo, by):
    """A new photo meets the open wish for its view; returns how many wishes it met."""
    wishes = ViewWish.objects.filter(of__animal=photo.animal_id, view=photo.view, settled_at__isnull=True)
    open_ones = list(wishes.filter(of__review__state=ReviewState.TAKEN).select_related("of__review__mentor"))
    for wish in open_ones:
        _settle(wish, met_by=photo)
        tell(review=wish.of.review, kind=Kind.PHOTO, by=by)
    return len(open_ones)


# ---- News ----


def tell(*, review, kind, to=None, by=None):
    """Write down that something happened, for whoever is to hear of it, and have the letter sent that they wish for.

    Without `to` the other side is told: owners of what the mentor did, the mentor of what an owner did. Nobody is told
    of what they did themselves. Returns the rows.
    """
    members = [member for member in (to or _other_side(review, by)) if by is None or member.pk != by.pk]
    rows = ReviewNews.objects.bulk_create(ReviewNews(member=member, review=review, kind=kind) for member in members)
    later = timezone.now() + timedelta(minutes=BUNDLED_MINUTES)
    for member in members:
        if member.news_by == NewsBy.AT_ONCE:
            send_review_news.using(run_after=later).enqueue(member=member.pk)
    return rows


def owners_of(review):
    """The adults who hear of a review: who asked, while they keep the herd; else its keepers, or their guardians."""
    if review.asked_by.is_active and Herd.objects.kept_by(review.asked_by).filter(pk=review.herd_id).exists():
        return [review.asked_by]
    owners = Member.objects.filter(ownerships__herd=review.herd_id, ownerships__until__isnull=True)
    return list(Member.objects.adults().filter(Q(pk__in=owners.values("pk")) | Q(youths__in=owners)).distinct())


def mark_seen(*, member, review=None):
    """The member has read the news of a review; without one, the news of reviews that they may not open any more."""
    news = ReviewNews.objects.filter(member=member, seen_at__isnull=True)
    if review is not None:
        news = news.filter(review=review)
    else:
        news = news.exclude(review__in=Review.objects.visible_to(member).values("pk"))
    return news.update(seen_at=timezone.now())


def _other_side(review, by):
    if review.mentor is not None and (by is None or by.pk != review.mentor_id):
        mentors = [review.mentor] if review.mentor.is_active else []
        return mentors if by is not None else [*mentors, *owners_of(review)]
    return owners_of(review)


# ---- The night, and people who leave ----


def hand_on_unanswered(*, days, now=None):
    """Hand on the requests that nobody took within so many days, and those whose mentor left; remind of those taken.

    A mentor who keeps the herd meanwhile has left too. What was asked for a herd that is closed since is taken back.
    Returns in words what was done.
    """
    now = now or timezone.now()
    since = now - timedelta(days=days)
    for review in Review.objects.open().filter(herd__closed_on__isnull=False).select_related("mentor", "asked_by"):
        _withdraw(review, review.asked_by)
    open_ones = Review.objects.open().filter(mentor__isnull=False)
    keeps = Ownership.objects.filter(herd=OuterRef("herd"), member=OuterRef("mentor"), until__isnull=True)
    gone = Q(mentor__is_active=False) | Q(mentor__guardian__isnull=False) | Q(Exists(keeps))
    unanswered = open_ones.filter(gone | Q(state=ReviewState.ASKED, put_at__lte=since))
    handed = sum(_handed_on_if_open(review, since) for review in unanswered.order_by("pk"))
    idle = open_ones.filter(state=ReviewState.TAKEN, taken_at__lte=since, ends_on__gte=timezone.localdate(now))
    idle = idle.exclude(gone).exclude(animals__graded_at__gt=since).exclude(animals__done_at__gt=since)
    idle = idle.exclude(pk__in=ReviewNews.objects.filter(kind=Kind.ASKED, at__gt=since).values("review"))
    reminded = 0
    for review in idle.select_related("mentor").distinct():
        tell(review=review, kind=Kind.ASKED, to=[review.mentor])
        reminded += 1
    return f"{handed} requests handed on, {reminded} mentors reminded"


def leave_reviews(member, by):
    """What becomes of a member's open reviews when their account is closed: requests of herds that nobody else keeps
    are taken back, and those put to them go to the queue."""
    for review in Review.objects.open().filter(herd__in=only_kept_by(member)).select_related("mentor"):
        _withdraw(review, by)
    for review in Review.objects.open().filter(mentor=member):
        _hand_on(review, by)
    ReviewNews.objects.filter(member=member).delete()


def only_kept_by(member):
    """Herds that no other member keeps."""
    current = Ownership.objects.filter(herd=OuterRef("pk"), until__isnull=True)
    return Herd.objects.filter(Exists(current.filter(member=member)), ~Exists(current.exclude(member=member))).values(
        "pk"
    )


def _handed_on_if_open(review, since):
    with rules_explained():
        row = Review.objects.select_for_update(of=("self",)).select_related("mentor", "asked_by").get(pk=review.pk)
        waits = row.state == ReviewState.ASKED and row.put_at <= since
        left = row.mentor is not None and (
            not row.mentor.is_active
            or row.mentor.is_youth
            or Herd.objects.kept_by(row.mentor).filter(pk=row.herd_id).exists()
        )
        if row.mentor_id is None or not row.is_open or not (waits or left):
            return False
        _hand_on(row, None)
    return True


def _hand_on(row, by):
    old = row.mentor
    animals = list(row.animals.select_related("animal"))
    close_animals(animals=[each.animal_id for each in animals], mentor=old, by=by or row.asked_by)
    _keep_as_words(row, animals, old)
    row.first_mentor, row.mentor, row.state = old, None, ReviewState.ASKED
    row.put_at = row.handed_on_at = timezone.now()
    row.taken_at, row.summary = None, ""
    row.save(update_fields=["first_mentor", "mentor", "state", "put_at", "handed_on_at", "taken_at", "summary"])
    told = [*owners_of(row), *([old] if by is None and old.is_active else [])]
    tell(review=row, kind=Kind.HANDED_ON, to=told, by=by)


def _keep_as_words(row, animals, mentor):
    """What a mentor wrote before handing on stays readable under the animals; their looks stay as looks."""
    drawn = dict.fromkeys((each.pk for each in animals), "")
    for drawing in Drawing.objects.filter(of__in=animals).exclude(words="").select_related("photo"):
        drawn[drawing.of_id] += f"Drawn on {drawing.photo.get_view_display()}: {drawing.words}\n"
    written = [(each, _written(each) + drawn[each.pk]) for each in animals]
    words = [(None, row.summary), *written]
    ReviewWord.objects.bulk_create(
        ReviewWord(review=row, of=of, author=mentor, words=text.strip()[:2000]) for of, text in words if text.strip()
    )
    Drawing.objects.filter(of__in=animals).delete()
    row.animals.update(
        look=None, graded_at=None, photo_problem="", advice="", opinion="", opinion_reason="", done_at=None
    )


def _written(each):
    parts = [each.advice]
    if each.photo_problem:
        parts.append(f"Photo not good enough, because: {each.photo_problem}")
    if each.opinion:
        parts.append(f"Opinion: {Verdict(each.opinion).label}, because {each.opinion_reason}")
    return "".join(f"{part}\n" for part in parts if part)


def _withdraw(row, by):
    if row.mentor_id is not None:
        close_animals(animals=row.animals.values("animal"), mentor=row.mentor, by=by)
    row.state, row.closed_at = ReviewState.WITHDRAWN, timezone.now()
    row.save(update_fields=["state", "closed_at"])
    if row.mentor_id is not None and row.mentor.is_active:
        tell(review=row, kind=Kind.WITHDRAWN, to=[row.mentor], by=by)


def _open_until(row, ends_on, by):
    """Like `open_animals`, but what the mentor saw after grading blind stays open."""
    graded = set(row.animals.filter(graded_at__isnull=False).values_list("animal_id", flat=True))
    animals = [each.animal for each in row.animals.select_related("animal") if each.animal.herd_id == row.herd_id]
    for grant in open_animals(animals=animals, mentor=row.mentor, ends_on=ends_on, by=by):
        grant.ends_on, grant.with_looks = ends_on, grant.animal_id in graded
        grant.save(update_fields=["ends_on", "with_looks"])


# ---- What is refused ----


def refuse_youth(member):
    if member.is_youth:
        raise ValidationError(
            f"Messages between members are for adults. Ask your guardian, {member.guardian}, to send it: they see your "
            "herd and can ask in your name."
        )


def _check_asked(herd, animals, question, words):
    if not animals:
        raise ValidationError({"animals": "Choose at least one animal."})
    if len(animals) > MOST_ANIMALS:
        raise ValidationError(
            {"animals": f"A review takes {MOST_ANIMALS} animals at most, and you chose {len(animals)}. Ask twice."}
        )
    if herd.closed_on is not None:
        raise ValidationError(f"{herd} is closed. Open it again first.")
    if question not in Question.values:
        raise ValidationError({"question": "Choose what you want to know."})
    if question == Question.OTHER and not words.strip():
        raise ValidationError({"words": "Say in your own words what you want to know."})
    if len(words) > 2000:
        raise ValidationError({"words": "Shorten this to 2,000 letters."})


def _own_rows(herd, animals):
    wanted = list(dict.fromkeys(animal.pk for animal in animals))
    rows = Animal.objects.select_for_update(of=("self",)).here().filter(herd=herd).order_by("pk").in_bulk(wanted)
    if missing := [animal for animal in animals if animal.pk not in rows]:
        raise ValidationError({"animals": f"{listed(missing)} no longer in {herd}. Open the page again."})
    return [rows[pk] for pk in wanted]


def _check_chosen(herd, mentor, by):
    check_mentor(herd, mentor, by)
    if not mentor.takes_reviews:
        raise ValidationError({"mentor": f"{mentor} takes no requests. Choose another mentor, or the club's queue."})


def _refuse_asked_already(animals, mentor):
    """One animal lies before one mentor (or the queue) in one open review at a time."""
    waiting = ReviewAnimal.objects.filter(
        animal__in=animals, review__mentor=mentor, review__state__in=[ReviewState.ASKED, ReviewState.TAKEN]
    )
    twice = [each.animal for each in waiting.select_related("animal").order_by("animal")]
    if twice:
        where = f"{mentor}" if mentor else "the club's queue"
        verb = "lies" if len(twice) == 1 else "lie"
        raise ValidationError(
            f"{listed(twice)} {verb} before {where} already, in a review that is not answered yet. Leave "
            f"{'it' if len(twice) == 1 else 'them'} out, or take that request back first."
        )


def _locked_open(review):
    row = Review.objects.select_for_update(of=("self",)).select_related("mentor", "asked_by", "herd").get(pk=review.pk)
    if not row.is_open:
        raise ValidationError(NO_LONGER_OPEN)
    return row


def _may_settle(wish, by):
    if not Review.objects.editable_by(by).filter(pk=wish.of.review_id).exists():
        raise NotYours


def _settle(wish, **given):
    """Settle a wish once; False when somebody did so before."""
    open_one = ViewWish.objects.filter(pk=wish.pk, settled_at__isnull=True)
    return open_one.update(settled_at=timezone.now(), **given) == 1
