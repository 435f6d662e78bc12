"""Writes of weighings: one of a thing and a day, in whole grams."""

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.models import Weight
from herds.models.care import LARGEST_GRAMS
from herds.units import weight_words
from herds.words import day_words

from .animals import kept_rows
from .cautions import Caution, ask_first
from .matings import refuse_future

LARGEST_LITTER_GRAMS = 60_000
SMALLEST_GRAMS = 10


def record_weight(*, by, grams, animal=None, kit=None, litter=None, on=None, count=None, note="", confirmed=""):
    """Log one weighing of an animal, a kit or a litter. A second one on a day replaces the first, once confirmed.

    `confirmed` is the token of the question, or "replace" where the page shows that the row is written over.
    """
    thing = animal or kit or litter
    on = on or timezone.localdate()
    refuse_future(on, "on")
    _refuse_before_birth(thing, animal, kit, litter, on)
    refuse_impossible_grams(grams, thing, by.weight_unit, of_litter=litter is not None)
    which = {"animal": animal, "kit": kit, "litter": litter}
    earlier = Weight.objects.filter(**{name: it for name, it in which.items() if it}, on=on).first()
    if earlier and confirmed != "replace":
        if earlier.grams == grams and earlier.note == note and earlier.count == count:
            return earlier
        was = weight_words(earlier.grams, by.weight_unit)
        question = f"{_named(thing)} has {was} in the log for {day_words(on)} already. The new weight would replace it."
        ask_first([Caution("replace", question)], about=[earlier.pk, grams], confirmed=confirmed)
    with rules_explained():
        if animal is not None:
            kept_rows([animal], by)
        values = {"grams": grams, "count": count, "note": note, "logged_by": by, "herd": _herd_of(animal, kit, litter)}
        weight, _ = Weight.objects.update_or_create(on=on, **which, defaults=values)
    return weight


def remove_weight(*, weight, by):
    """Take a wrong weighing out; it goes for good."""
    weight.delete()


def refuse_impossible_grams(grams, thing, unit, *, of_litter=False, field="weight"):
    most = LARGEST_LITTER_GRAMS if of_litter else LARGEST_GRAMS
    if grams < SMALLEST_GRAMS:
        raise ValidationError({field: f"{weight_words(grams, unit)} is too little for {thing}. Check the unit."})
    if grams > most:
        raise ValidationError(
            {
                field: f"{weight_words(grams, unit)} is too much for {thing}: "
                f"{weight_words(most, unit)} is the most that is taken. Check the number and the unit."
            }
        )


def _herd_of(animal, kit, litter):
    if animal is not None:
        return animal.herd
    return litter.herd if litter is not None else kit.rearing_litter.herd


def _refuse_before_birth(thing, animal, kit, litter, on):
    born = animal.born_on if animal is not None else (litter or kit.litter).born_on
    if born and on < born:
        raise ValidationError({"on": f"{_named(thing)} was born on {day_words(born)}. Choose a later day."})


def _named(thing):
    """The animal, kit or litter at the head of a sentence."""
    text = str(thing)
    return f"The {text}" if text.startswith("litter of") else text[0].upper() + text[1:]
