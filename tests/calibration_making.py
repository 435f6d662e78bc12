"""Calibration sets as tests need them: photos with their owners' leave, sets in any state, answers by made-up eyes."""

from datetime import timedelta

import numpy as np
from django.utils import timezone

from grading.actions import calibration as actions
from grading.models import (
    CalibrationAnswer,
    CalibrationItem,
    CalibrationSet,
    Guess,
    ItemTruth,
    PhotoConsent,
    Seat,
    SetState,
    Trait,
)

from .factories import make_animal, make_look, make_photo, make_profile, published_profile


def traits_of(*codes):
    return list(Trait.objects.filter(code__in=codes or ("surface_shade", "undercolor")))


def open_animal(herd, number, by, *, surface=None, photo=make_photo):
    """An animal with a left side and a parted coat, both opened for calibration and practice."""
    animal = make_animal(herd, f"C{number}", born_on=timezone.localdate() - timedelta(days=400))
    photos = [
        photo(animal, view=view, state="ready", width=80, height=60) for view in ("left_side", "parted_loin")
    ]  # fmt: skip
    for each in photos:
        for use in PhotoConsent.Use.values:
            PhotoConsent.objects.create(photo=each, use=use, given_by=by)
    if surface is not None:
        summary = {trait.summary: trait for trait in Trait.objects.filter(summary__in=["surface", "undercolor"])}
        make_look(animal, by, steps={summary["surface"]: surface, (summary["undercolor"], "loin"): 10 - surface})
    return animal


def make_set(cast, animals=8, *, doubles=2, codes=(), photo=make_photo, first=1, **given):
    """A draft over newly made animals whose photos are open; the officer made it."""
    if published_profile(cast.sire.breed) is None:
        make_profile(cast.sire.breed, traits=[*Trait.objects.all()])
    for number in range(first, first + animals):
        open_animal(cast.herd, number, cast.keeper, surface=1 + number % 9, photo=photo)
    today = timezone.localdate()
    values = {
        "breed": cast.sire.breed, "name": f"Set {first}", "opens_on": today, "closes_on": today + timedelta(days=20),
        "traits": traits_of(*codes), "animals": animals, "doubles": doubles, "by": cast.officer, "seed": 5,
    } | given  # fmt: skip
    return actions.make_set(**values)


def opened(of_set, cast):
    return actions.open_set(of_set=of_set, by=cast.officer)


def answered(of_set, member, steps):
    """A seat with answers: `steps(item, trait)` gives the step, None for 'cannot tell'."""
    seat = Seat.objects.get_or_create(of=of_set, member=member)[0]
    CalibrationAnswer.objects.bulk_create(
        CalibrationAnswer(seat=seat, item=item, trait=trait, step=step, cannot_tell=step is None)
        for item in of_set.items.all()
        for trait in of_set.traits.all()
        for step in (steps(item, trait),)
    )
    return seat


def eyes(truth, *, lean=0.0, scatter=0.5, seed=0, stretch=1.0):
    """How somebody sees: truth of (original item, trait code) with a lean, scatter and use of the scale."""
    rng = np.random.default_rng(seed)

    def steps(item, trait):
        seen = 5 + stretch * (truth[(item.again_of_id or item.pk), trait.code] - 5) + lean + rng.normal(0, scatter)
        return int(np.clip(np.rint(seen), trait.scale_low, trait.scale_high))

    return steps


def truths(of_set, seed=1):
    """A truth for each item and trait, over the whole scale."""
    rng = np.random.default_rng(seed)
    return {
        (item.pk, trait.code): rng.uniform(2, 8)
        for item in of_set.items.filter(again_of=None)
        for trait in of_set.traits.all()
    }


def worked_out(of_set):
    """The set as it is after its window."""
    CalibrationSet.objects.filter(pk=of_set.pk).update(state=SetState.CLOSED)
    return actions.work_out(of_set=of_set)


def calibration_things(cast, photo):
    """A draft, an open set and one that is worked out, each with the one photo; the keeper sits in the last two."""
    for use in PhotoConsent.Use.values:
        PhotoConsent.objects.create(photo=photo, use=use, given_by=cast.keeper)
    today = timezone.localdate()
    things = {"place": 1, "photo_place": 0}
    for state in ("draft", "open", "done"):
        of_set = CalibrationSet.objects.create(
            breed=cast.sire.breed, name=f"The {state} set", made_by=cast.officer, closes_on=today + timedelta(days=9)
        )
        of_set.traits.set(traits_of())
        item = CalibrationItem.objects.create(of=of_set, position=1)
        item.photos.add(photo)
        if state != "draft":
            Seat.objects.create(of=of_set, member=cast.keeper)
        worked_out_at = timezone.now() if state == "done" else None
        CalibrationSet.objects.filter(pk=of_set.pk).update(state=state, worked_out_at=worked_out_at)
        things |= {f"{state}_set": of_set.pk, "set_item": item.pk if state == "open" else things.get("set_item")}
    truths = ItemTruth.objects.bulk_create(
        ItemTruth(item=item, trait=trait, value=6.2, error=0.2, answers=5, scored=True) for trait in traits_of()
    )
    guess = Guess.objects.create(member=cast.keeper, truth=truths[0], trait=truths[0].trait, step=5, agreed=6.2)
    return things | {"done_item": item.pk, "guess": guess.pk}
