"""The yearly calibration: consents, putting a set together, its window, graders' answers, and working it out."""

import secrets
from datetime import timedelta

import numpy as np
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from clubsite.members.models import Club, Member
from grading.calibrating import choosing, sums
from grading.models import (
    CalibrationAnswer,
    CalibrationItem,
    CalibrationSet,
    GraderResult,
    ItemTruth,
    Photo,
    PhotoConsent,
    Seat,
    SetState,
    Trait,
)
from herds.words import count_words, day_words

from .calibration_news import invite, tell_results

LONGEST_DAYS = 120
LEADING = ("surface", "undercolor")
OVER = "The time for this set is over. What you gave until then counts."


# --- consent ---------------------------------------------------------------------------------------------------------


def set_consents(*, photos, use, agreed, by):
    """Give or take back the leave to show photos for a use: of those in `photos`, the ones in `agreed` are open.

    Returns how many were opened and how many taken back.
    """
    own = list(Photo.objects.editable_by(by).filter(pk__in=[photo.pk for photo in photos]))
    if len(own) != len({photo.pk for photo in photos}):
        raise NotYours
    wanted = {photo.pk for photo in agreed}
    now = timezone.now()
    with rules_explained():
        standing = PhotoConsent.objects.standing().filter(photo__in=own, use=use).select_for_update()
        open_now = set(standing.values_list("photo", flat=True))
        closed = PhotoConsent.objects.filter(
            photo__in=open_now - wanted, use=use, withdrawn_at__isnull=True
        ).update(withdrawn_at=now)  # fmt: skip
        opened = PhotoConsent.objects.bulk_create(
            PhotoConsent(photo=photo, use=use, given_by=by)
            for photo in own
            if photo.pk in wanted - open_now and photo.withdrawn_at is None
        )
    return len(opened), closed


# --- putting a set together ------------------------------------------------------------------------------------------


def make_set(*, breed, name, opens_on, closes_on, traits, animals, doubles, by, seed=None):
    """A draft with photos proposed from those whose owners agreed. Raises ValidationError."""
    _must_be_officer(by)
    _check_window(opens_on, closes_on)
    _check_traits(traits)
    found = choosing.candidates(breed.pk, opens_on)
    if len(found) < choosing.FEWEST_ANIMALS:
        raise ValidationError(
            f"Owners have opened photos of {count_words(len(found), 'animal')} for the calibration; a set needs "
            f"{choosing.FEWEST_ANIMALS} at least. Ask them to open more: each herd's page has a button for it."
        )
    rng = np.random.default_rng(secrets.randbits(63) if seed is None else seed)
    chosen = choosing.proposed(found, min(animals, len(found)), rng)
    order = choosing.arranged(len(chosen), doubles, rng)
    with rules_explained():
        of_set = CalibrationSet.objects.create(
            breed=breed, name=name.strip(), opens_on=opens_on, closes_on=closes_on, made_by=by
        )
        of_set.traits.set(traits)
        first: dict = {}
        for position, place in enumerate(order, 1):
            item = CalibrationItem.objects.create(of=of_set, position=position, again_of=first.get(place))
            item.photos.set(chosen[place].photos)
            first.setdefault(place, item)
    return of_set


def replace_item(*, item, by):
    """Put another animal in an item's place, in its double too; ValidationError when there is none left."""
    _must_be_officer(by)
    with rules_explained():
        of_set = _locked(item.of)
        _must_be(of_set, SetState.DRAFT)
        item = item.again_of or item
        used = set(
            CalibrationItem.photos.through.objects.filter(calibrationitem__of=of_set).values_list("photo", flat=True)
        )
        found = choosing.candidates(of_set.breed_id, of_set.opens_on)
        left = [each for each in found if not used & {photo.pk for photo in each.photos}]
        if not left:
            raise ValidationError("No other animal has photos that their owner opened for the calibration.")
        looked_for = (
            Photo.objects.filter(calibration_items=item).values_list("animal__looks__surface", flat=True).first()
        )
        left.sort(key=lambda each: (each.surface is None, abs((each.surface or 5) - (looked_for or 5)), each.animal))
        for one in (item, *item.doubles.all()):
            one.photos.set(left[0].photos)
    return item


def remove_item(*, item, by):
    """Take an item out of a draft, with its double; the others move up."""
    _must_be_officer(by)
    with rules_explained():
        of_set = _locked(item.of)
        _must_be(of_set, SetState.DRAFT)
        item.delete()
        for position, row in enumerate(of_set.items.order_by("position"), 1):
            if row.position != position:
                CalibrationItem.objects.filter(pk=row.pk).update(position=position)
    return of_set


def remove_set(*, of_set, by):
    """Throw a draft away."""
    _must_be_officer(by)
    with rules_explained():
        of_set = _locked(of_set)
        _must_be(of_set, SetState.DRAFT)
        of_set.delete()


def open_set(*, of_set, by):
    """Open the window: from now on the photos stay as they are, and members may grade from the first day on."""
    _must_be_officer(by)
    with rules_explained():
        of_set = _locked(of_set)
        _must_be(of_set, SetState.DRAFT)
        _check_window(of_set.opens_on, of_set.closes_on)
        gone = of_set.items.count() - of_set.items.standing().count()
        if gone:
            raise ValidationError(
                f"The photos of {count_words(gone, 'place')} were taken back by their owners. "
                "Replace or remove them first."
            )
        if of_set.items.filter(again_of=None).count() < choosing.FEWEST_ANIMALS:
            raise ValidationError(f"A set needs {choosing.FEWEST_ANIMALS} animals at least.")
        of_set.state = SetState.OPEN
        of_set.save(update_fields=["state"])
        invite(of_set=of_set, by=by)
    return of_set


def extend_set(*, of_set, closes_on, by):
    """Move the last day of a set that is open or not yet opened."""
    _must_be_officer(by)
    with rules_explained():
        of_set = _locked(of_set)
        _must_be(of_set, SetState.DRAFT, SetState.OPEN)
        _check_window(of_set.opens_on, closes_on)
        of_set.closes_on = closes_on
        of_set.save(update_fields=["closes_on"])
    return of_set


def close_set(*, of_set, by):
    """End the window now and have the set worked out."""
    from grading.tasks import work_out_calibration

    _must_be_officer(by)
    with rules_explained():
        of_set = _locked(of_set)
        _must_be(of_set, SetState.OPEN)
        of_set.state = SetState.CLOSED
        of_set.save(update_fields=["state"])
        work_out_calibration.enqueue(of_set.pk)
    return of_set


def close_what_is_over(on=None):
    """For the night: sets whose last day is past are closed and worked out. Returns in words how many."""
    day = on or timezone.localdate()
    over = CalibrationSet.objects.filter(state=SetState.OPEN, closes_on__lt=day)
    closed = 0
    for of_set in over:
        with transaction.atomic():
            closed += CalibrationSet.objects.filter(pk=of_set.pk, state=SetState.OPEN).update(state=SetState.CLOSED)
    for of_set in CalibrationSet.objects.filter(state=SetState.CLOSED):
        work_out(of_set=of_set)
    return count_words(closed, "set")


# --- grading ---------------------------------------------------------------------------------------------------------


def take_seat(*, of_set, by):
    """The member's seat in a set whose window is open; the same one each time."""
    _must_be_gradable(of_set, by)
    return Seat.objects.get_or_create(of=of_set, member=by)[0]


def save_answers(*, seat, item, answers, by):
    """Save (trait, step or None for 'cannot tell') of one item; the later one counts. Raises ValidationError.

    After the window nothing is written, and what was saved before stays.
    """
    if seat.member_id != by.pk:
        raise NotYours
    with rules_explained():
        _must_be_gradable(seat.of, by)
        if not seat.of.items.standing().filter(pk=item.pk).exists():
            raise ValidationError(
                "The owner took these photos back, so they are not graded any more. Go on to the next."
            )
        CalibrationAnswer.objects.bulk_create(
            [
                CalibrationAnswer(
                    seat=seat, item=item, trait=trait, step=step, cannot_tell=step is None, saved_at=timezone.now()
                )
                for trait, step in answers
            ],
            update_conflicts=True,
            unique_fields=["seat", "item", "trait"],
            update_fields=["step", "cannot_tell", "saved_at"],
        )
    return len(answers)


def finish_seat(*, seat, by):
    """Say that one is done; answers may still be changed while the window is open."""
    if seat.member_id != by.pk:
        raise NotYours
    _must_be_gradable(seat.of, by)
    Seat.objects.filter(pk=seat.pk, finished_at__isnull=True).update(finished_at=timezone.now())
    seat.refresh_from_db()
    return seat


def show_name(*, seat, shows, by):
    """Let officers read one's result with one's name, or take that back."""
    if seat.member_id != by.pk:
        raise NotYours
    Seat.objects.filter(pk=seat.pk).update(shows_name=shows)
    seat.refresh_from_db()
    return seat


# --- working out -----------------------------------------------------------------------------------------------------


@transaction.atomic
def work_out(*, of_set):
    """Work out a closed set, or one that was worked out before: results, truths, and whose result counts."""
    of_set = _locked(of_set)
    if of_set.state not in (SetState.CLOSED, SetState.DONE):
        return of_set
    traits = list(of_set.traits.all())
    answers = sums.read(of_set, traits)
    worked = sums.work_out(answers, traits)
    ItemTruth.objects.filter(item__of=of_set).delete()
    GraderResult.objects.filter(seat__of=of_set).delete()
    for trait in traits:
        _keep_truths(answers, trait, worked[trait.pk].truth)
        _keep_profiles(answers, trait, worked[trait.pk].profiles)
    _keep_seats(of_set, answers, worked, traits)
    first_time = of_set.worked_out_at is None
    of_set.together = {trait.code: worked[trait.pk].together for trait in traits}
    of_set.state, of_set.worked_out_at, of_set.problem = SetState.DONE, timezone.now(), _problem(answers)
    of_set.save(update_fields=["together", "state", "worked_out_at", "problem"])
    if first_time:
        tell_results(of_set=of_set)
    return of_set


def _keep_truths(answers, trait, truth):
    if truth is None:
        return
    ItemTruth.objects.bulk_create(
        ItemTruth(
            item_id=item,
            trait=trait,
            value=float(truth.value[place]),
            error=None if np.isnan(truth.error[place]) else float(truth.error[place]),
            answers=int(truth.answers[place]),
            scored=bool(truth.scored[place]),
            discuss=bool(truth.discuss[place]),
        )
        for place, item in enumerate(answers.items)
        if not np.isnan(truth.value[place])
    )


def _keep_profiles(answers, trait, profiles):
    rows = []
    for seat, profile in zip(answers.seats, profiles, strict=False):
        data = sums.profile_data(profile)
        lean, spread = data["lean"], data["spread"]
        rows.append(
            GraderResult(
                seat_id=seat, trait=trait, lean=lean["value"], lean_low=lean["low"], lean_high=lean["high"],
                spread=spread["value"], spread_low=spread["low"], spread_high=spread["high"],
                agreement=data["agreement"]["value"], profile=data,
            )
        )  # fmt: skip
    GraderResult.objects.bulk_create(rows)


def _keep_seats(of_set, answers, worked, traits):
    """Whose result counts: enough answered, and agreement with the others known in surface shade and undercolor.

    How well one agrees is not asked: a lean that is known can be allowed for, one that is not cannot.
    """
    leading = [trait for trait in traits if trait.summary in LEADING] or traits
    until = of_set.closes_on + timedelta(days=Club.current().calibration_days)
    counting = []
    for place, seat in enumerate(answers.seats):
        profiles = [worked[trait.pk].profiles for trait in leading]
        known = all(each and each[place].agreement.value is not None for each in profiles)
        if known and sums.answered_share(answers, place) >= sums.ENOUGH:
            counting.append(seat)
    Seat.objects.filter(of=of_set).update(counts=False)
    Seat.objects.filter(pk__in=counting).update(counts=True)
    for member in Member.objects.filter(calibration_seats__in=counting, is_active=True):
        if member.grader_until is None or member.grader_until < until:
            member.grader_until = until
            member.save(update_fields=["grader_until"])


def _problem(answers):
    graders = sum(1 for seat in range(len(answers.seats)) if any(told[:, seat].any() for told in answers.told.values()))
    if not answers.items:
        return "All photos of this set were taken back by their owners, so there is nothing to work out."
    if graders < 2:
        who = "Nobody" if not graders else "One grader alone"
        return f"{who} answered, so nothing can be compared. A consensus needs two graders at least."
    return ""


# --- doors -----------------------------------------------------------------------------------------------------------


def _must_be_officer(by):
    if not (by.is_active and by.is_officer):
        raise NotYours


def _must_be_gradable(of_set, by):
    if not CalibrationSet.objects.gradable_by(by).filter(pk=of_set.pk).exists():
        raise ValidationError(OVER, code="over")


def _locked(of_set):
    return CalibrationSet.objects.select_for_update(of=("self",)).get(pk=of_set.pk)


def _must_be(of_set, *states):
    if of_set.state not in states:
        raise ValidationError(f"This set is {of_set.get_state_display()}, so that cannot be done any more.")


def _check_traits(traits):
    kinds = {trait.summary for trait in traits}
    if not traits:
        raise ValidationError({"traits": "Choose what is to be graded."})
    if ("surface" in kinds) != ("undercolor" in kinds):
        raise ValidationError({"traits": "Surface shade and undercolor are graded together. Choose both, or neither."})
    hand = [trait.name for trait in traits if not trait.photo_can_show]
    if hand:
        raise ValidationError({"traits": f"A photo cannot show {hand[0].lower()}. Leave it out."})


def _check_window(opens_on, closes_on):
    today = timezone.localdate()
    if closes_on < today:
        raise ValidationError({"closes_on": "This day is past. Choose today or a later one."})
    if closes_on < opens_on:
        raise ValidationError({"closes_on": "The set closes before it opens. Choose a later last day."})
    if closes_on > opens_on + timedelta(days=LONGEST_DAYS):
        latest = day_words(opens_on + timedelta(days=LONGEST_DAYS))
        raise ValidationError({"closes_on": f"A set is open for {LONGEST_DAYS} days at most: until {latest}."})


def gradable_traits(breed, on=None):
    """Traits of the breed's profile in force that a photo can show, in the order of the look."""
    from grading.models import BreedProfile

    profile = BreedProfile.in_force(breed, on or timezone.localdate())
    return Trait.objects.filter(in_profiles__profile=profile, photo_can_show=True) if profile else Trait.objects.none()
