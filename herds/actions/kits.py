"""Writes about single kits: white at birth, sex, death, fostering, and the mark that makes an animal of a kit."""

import re
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.dateparse import parse_date

from clubsite.constraints import rules_explained
from clubsite.members.models import Club
from herds.finding import key
from herds.models import Animal, Litter, LitterEvent, Mark, MarkKind, Sex, WhitePlace
from herds.words import count_words, day_words, listed

from .cautions import Caution, ask_first
from .matings import refuse_future

# What a litter may be asked as a foster home is bounded, so that the list to choose from stays short.
FOSTER_CHOICE_DAYS = 21


def record_white(*, kit, places, by, on=None):
    """Log where white was seen at birth: places, or 'none seen' alone; nothing at all means not looked."""
    places = list(dict.fromkeys(places))
    unknown = [place for place in places if place not in WhitePlace.values]
    if unknown:
        raise ValidationError({"white_at": f"“{unknown[0]}” is not a place of the list. Choose from the list."})
    if WhitePlace.NONE in places and len(places) > 1:
        raise ValidationError(
            {"white_at": f"Kit {kit.number}: 'none seen' cannot stand beside a place. Untick one of them."}
        )
    kit.white_at = [place for place in WhitePlace.values if place in places]
    kit.white_seen_on = (kit.white_seen_on or on or timezone.localdate()) if places else None
    with rules_explained():
        kit.save_version(None, ["white_at", "white_seen_on"])
    return kit


def settle_white(before, now):
    """The places after one touch: 'none seen' takes the places away, and a place takes 'none seen' away."""
    if WhitePlace.NONE not in now or len(now) == 1:
        return now
    if WhitePlace.NONE in before:
        return [place for place in now if place != WhitePlace.NONE]
    return [WhitePlace.NONE]


@transaction.atomic
def record_none_seen(*, litter, by):
    """Log 'none seen' for every live kit of the litter that nobody has looked at yet; returns those kits."""
    kits = [kit for kit in litter.kits.filter(died_on__isnull=True) if not kit.white_at]
    return [record_white(kit=kit, places=[WhitePlace.NONE], by=by) for kit in kits]


def record_kit_sex(*, kit, sex, by):
    """Log a kit's sex, which may be corrected until it is marked; from then on the animal carries it."""
    if sex not in Sex.values:
        raise ValidationError({"sex": "Choose buck, doe or sex unknown."})
    if kit.animal_id:
        raise ValidationError({"sex": f"Kit {kit.number} is {kit.animal} now. Change the sex on that animal's page."})
    kit.sex = sex
    kit.save_version(None, ["sex"])
    return kit


def record_kit_death(*, kit, died_on, by):
    """Log the day a kit was found dead; None takes it back."""
    if kit.animal_id:
        raise ValidationError(
            {"died_on": f"Kit {kit.number} is {kit.animal} now. Log what became of it on that animal's page."}
        )
    if died_on is not None:
        refuse_future(died_on, "died_on")
        if died_on < kit.litter.born_on:
            raise ValidationError(
                {"died_on": f"Kit {kit.number} was born on {day_words(kit.litter.born_on)}. Choose a later day."}
            )
    kit.died_on = died_on
    kit.save_version(None, ["died_on"])
    return kit


def answer_sheet(*, answers, sheet, by):
    """Log one sheet of answers about kits: all of them, or none and {kit number: sentence} for what was refused.

    answers: (kit, answer) pairs. An answer is places for the sheet 'white', a sex for 'sex', and for 'losses' a day as
    text, '' for alive.
    """
    refused = {}
    with transaction.atomic():
        for kit, answer in answers:
            try:
                _answer(kit, answer, sheet, by)
            except ValidationError as error:
                refused[kit.number] = error.messages[0]
        if refused:
            transaction.set_rollback(True)
    return refused


def _answer(kit, answer, sheet, by):
    if sheet == "white":
        record_white(kit=kit, places=answer, by=by)
    elif sheet == "sex":
        record_kit_sex(kit=kit, sex=answer or Sex.UNKNOWN, by=by)
    else:
        record_kit_death(kit=kit, died_on=_day(answer), by=by)


def _day(text):
    try:
        found = parse_date(text) if text else None
    except ValueError:
        found = None
    if text and found is None:
        raise ValidationError({"died_on": f"“{text}” is no day of the calendar. Write it as 2026-05-03."})
    return found


def foster_choices(litter, herds):
    """Litters of these herds that may take kits of this one: born near it, not weaned, the nearest age first."""
    near = timedelta(days=FOSTER_CHOICE_DAYS)
    found = Litter.objects.filter(
        herd__in=herds, born_on__gte=litter.born_on - near, born_on__lte=litter.born_on + near
    ).exclude(pk=litter.pk)
    found = found.exclude(events__kind=LitterEvent.Kind.WEANED).select_related("dam", "herd")
    return sorted(found, key=lambda other: abs((other.born_on - litter.born_on).days))


def foster_kits(*, kits, to, on, by, confirmed=""):
    """Move kits to another doe's nest. The birth dam stays their dam; the foster dam stands at the kit alone."""
    if not kits:
        raise ValidationError({"kits": "No kit is chosen. Choose at least one."})
    refuse_future(on, "on")
    for kit in kits:
        _refuse_fostering(kit, to, on)
    ask_first(fostering_cautions(kits, to, on), about=[to.pk, on, *[kit.pk for kit in kits]], confirmed=confirmed)
    with rules_explained():
        for kit in kits:
            kit.fostered_to, kit.fostered_on = to, on
            kit.save_version(None, ["fostered_to", "fostered_on"])
    return kits


def fostering_cautions(kits, to, on):
    """Fostering goes well within some days of birth, and between litters of nearly one age (the club's setting)."""
    club = Club.current()
    born_on = kits[0].litter.born_on
    age = (on - born_on).days
    gap = abs((to.born_on - born_on).days)
    cautions = []
    if age > club.fostering_days:
        cautions.append(
            Caution(
                "late",
                f"The kits are {age} days old on {day_words(on)}. Fostering within {club.fostering_days} days of birth "
                "goes best; an older kit is taken less readily.",
            )
        )
    if gap > club.fostering_days:
        cautions.append(
            Caution(
                "ages-apart",
                f"The two litters are {count_words(gap, 'day')} apart in age, and {club.fostering_days} are usual at "
                "most. The smaller kits may not get to the milk: compare their size.",
            )
        )
    return cautions


def bring_back(*, kit, by):
    """Take a fostering back: the kit is again in its birth dam's nest."""
    kit.fostered_to, kit.fostered_on = None, None
    kit.save_version(None, ["fostered_to", "fostered_on"])
    return kit


def next_marks(herd, number, start=""):
    """So many left-ear marks in a row, from `start` or after the herd's newest; those in use are left out."""
    taken = set(_left_ear_marks(herd).values_list("key", flat=True))
    if not start:
        newest = _left_ear_marks(herd).filter(text__regex=r"[0-9]$").order_by("-logged_at", "-pk").first()
        letters, digits = _split(newest.text) if newest else ("", "0")
        digits = str(int(digits) + 1).zfill(len(digits))
    else:
        letters, digits = _split(start)
        if not digits:
            return [start, *[""] * (number - 1)][:number]
    marks, count = [], int(digits)
    while len(marks) < number:
        text = f"{letters}{count:0{len(digits)}d}"
        if key(text) not in taken:
            marks.append(text)
        count += 1
    return marks


def mark_kits(*, litter, rows, on, by):
    """Tattoo day: every row (kit, mark, sex, name) makes an animal, or none does when one row is refused.

    Raises ValidationError({"<kit number>": sentence}) with a sentence for each refused row.
    """
    refuse_future(on, "on")
    if on < litter.born_on:
        raise ValidationError({"on": f"The {litter} was born on {day_words(litter.born_on)}. Choose a later day."})
    if not rows:
        raise ValidationError("No kit has a mark yet. Type at least one.")
    refused = _refused_marks(litter, rows)
    if refused:
        raise ValidationError(refused)
    with rules_explained():
        locked = litter.kits.select_for_update(of=("self",)).filter(pk__in=[row["kit"].pk for row in rows])
        if any(kit.animal_id for kit in locked):
            raise ValidationError("Somebody marked these kits a moment ago. Open the litter again.")
        return [_mark_kit(litter, row, on, by) for row in rows]


def _mark_kit(litter, row, on, by):
    kit = row["kit"]
    animal = Animal.objects.create(
        herd=kit.rearing_litter.herd, bred_in=litter.herd, breed=litter.dam.breed, sex=row["sex"], name=row["name"],
        born_on=litter.born_on, sire=litter.sire, dam=litter.dam, litter=litter, logged_by=by,
    )  # fmt: skip
    Mark.objects.create(
        animal=animal, kind=MarkKind.LEFT_EAR, text=row["mark"], issued_by=litter.herd, issued_on=on, logged_by=by
    )
    kit.animal, kit.sex = animal, row["sex"]
    kit.save_version(None, ["animal", "sex"])
    animal.mark_text = row["mark"]
    return animal


def _refused_marks(litter, rows):
    keys = [key(row["mark"]) for row in rows]
    holders = {
        mark.key: mark.animal for mark in _left_ear_marks(litter.herd).filter(key__in=keys).select_related("animal")
    }
    refused = {}
    for row, wanted in zip(rows, keys, strict=True):
        kit = row["kit"]
        name = str(kit.number)
        if kit.animal_id:
            refused[name] = f"Kit {kit.number} is marked already: it is {kit.animal}. Leave its mark empty."
        elif kit.died_on:
            refused[name] = f"Kit {kit.number} died on {day_words(kit.died_on)}. Leave its mark empty."
        elif not wanted:
            refused[name] = f"Kit {kit.number} has no mark. Type one, or leave the row out."
        elif keys.count(wanted) > 1:
            twins = [f"kit {other['kit'].number}" for other, theirs in zip(rows, keys, strict=True) if theirs == wanted]
            refused[name] = f"{row['mark']} is given to {listed(twins)}. Each kit needs a mark of its own."
        elif wanted in holders:
            refused[name] = (
                f"{row['mark']} is already in the left ear of {holders[wanted]}, bred in {litter.herd}. "
                "Choose another number."
            )
    return refused


def _refuse_fostering(kit, to, on):
    if kit.died_on:
        raise ValidationError({"kits": f"Kit {kit.number} died on {day_words(kit.died_on)}. Untick it."})
    if kit.animal_id:
        raise ValidationError({"kits": f"Kit {kit.number} is marked already: it is {kit.animal}. Untick it."})
    if to.pk == kit.litter_id:
        raise ValidationError(
            {"to": f"Kit {kit.number} was born in this litter. Choose another one, or bring it back."}
        )
    if on < kit.litter.born_on:
        raise ValidationError(
            {"on": f"Kit {kit.number} was born on {day_words(kit.litter.born_on)}. Choose a later day."}
        )
    if on < to.born_on:
        raise ValidationError({"on": f"The {to} was not yet born on {day_words(on)}. Choose a later day."})


def _left_ear_marks(herd):
    return Mark.objects.current().filter(issued_by=herd, kind=MarkKind.LEFT_EAR)


def _split(text):
    """('FL', '012') of 'FL012'; ('FL', '') when it does not end in a number."""
    letters, digits = re.fullmatch(r"(.*?)(\d*)", text.strip()).groups()
    return letters, digits
