"""Health notes: written once, corrected by a new note, ended when the trouble is over."""

from django.core.exceptions import ValidationError
from django.db.models import F
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from herds.finding import one_space
from herds.models import HealthNote, Herd
from herds.words import day_words

from .animals import kept_rows

WORDS = {"seen": 500, "done": 500, "dose": 120}
WHEN = ("withdrawal_until", "no_show_until", "follow_up_on")


def write_note(*, by, animal=None, litter=None, on=None, **given):
    """Write what was seen on an animal or a litter of the member's own herd."""
    with rules_explained():
        if animal is not None:
            (animal,) = kept_rows([animal], by)
        elif not Herd.objects.kept_by(by).filter(pk=litter.herd_id).exists():
            raise NotYours
        herd = animal.herd if animal is not None else litter.herd
        note = HealthNote(animal=animal, litter=litter, herd=herd, on=on or timezone.localdate(), logged_by=by)
        return _written(note, given)


def correct_note(*, note, by, reason, strike_out=False, on=None, **given):
    """A new note in the place of an old one, which stays readable; `strike_out` says that it was a mistake."""
    reason = one_space(reason)
    if not reason:
        raise ValidationError({"reason": "Say why the note is corrected."})
    with rules_explained():
        old = _own_note(note, by)
        if HealthNote.objects.filter(corrects=old).exists():
            raise ValidationError("This note was already corrected. Open the page again and correct the newer one.")
        if strike_out:
            given = {name: getattr(old, name) for name in (*WORDS, "vet_asked", *WHEN)}
            on = old.on
        new = HealthNote(
            animal_id=old.animal_id, litter_id=old.litter_id, herd_id=old.herd_id, on=on or old.on, corrects=old,
            correction_reason=reason[:200], struck_out=strike_out, logged_by=by,
        )  # fmt: skip
        new.ended_on = max(old.ended_on, new.on) if old.ended_on else None
        return _written(new, given, followed_up_on=old.followed_up_on)


def end_note(*, note, by, on=None):
    """The trouble is over since a day. A withdrawal period runs on: only its own day ends it."""
    on = on or timezone.localdate()
    with rules_explained():
        row = _own_note(note, by)
        if on < row.on:
            raise ValidationError(f"The note is about {day_words(row.on)}. Choose that day or a later one.")
        HealthNote.objects.filter(pk=row.pk, ended_on__isnull=True).update(ended_on=on)
    note.refresh_from_db()
    return note


def reopen_note(*, note, by):
    """The trouble goes on after all."""
    with rules_explained():
        HealthNote.objects.filter(pk=_own_note(note, by).pk).update(ended_on=None)
    note.refresh_from_db()
    return note


def look_again(*, note, by):
    """The animal was looked at again today, as the note asked."""
    today = timezone.localdate()
    with rules_explained():
        row = _own_note(note, by)
        HealthNote.objects.filter(
            pk=row.pk, follow_up_on__isnull=False, followed_up_on__isnull=True, on__lte=today
        ).update(followed_up_on=today)
    note.refresh_from_db()
    return note


def take_look_back(*, note, by):
    """Nobody looked today after all; True when there was something to take back."""
    row = _own_note(note, by)
    return bool(HealthNote.objects.filter(pk=row.pk, followed_up_on=timezone.localdate()).update(followed_up_on=None))


def told_by_seller(*, transfer, animal, by, on):
    """A withdrawal period that the earlier owner told of goes on in the new herd's own notes."""
    days = {name: day for name in ("withdrawal_until", "no_show_until") if (day := getattr(transfer, name))}
    days = {name: day for name, day in days.items() if day >= on}
    if days:
        HealthNote.objects.create(
            animal=animal, herd=transfer.to_herd, on=on, logged_by=by,
            seen=f"Came with a running withdrawal period, as {transfer.from_herd} said at the transfer.", **days,
        )  # fmt: skip


def _own_note(note, by):
    rows = HealthNote.objects.editable_by(by).select_for_update(of=("self",)).filter(pk=note.pk)
    if (row := rows.first()) is None:
        raise NotYours
    return row


def _written(note, given, followed_up_on=None):
    today = timezone.localdate()
    for name in WORDS:
        setattr(note, name, one_space(given.get(name, "")))
    note.vet_asked = bool(given.get("vet_asked"))
    for name in WHEN:
        setattr(note, name, given.get(name))
    if followed_up_on and note.follow_up_on and note.follow_up_on <= followed_up_on:
        note.followed_up_on = followed_up_on
    errors = {}
    if not note.seen:
        errors["seen"] = "Say what was seen."
    if note.on > today:
        errors["on"] = f"{day_words(note.on)} lies in the future. Choose today or an earlier day."
    for name in WHEN:
        if (day := getattr(note, name)) and day < note.on:
            errors[name] = f"This day lies before {day_words(note.on)}, the day of the note. Choose a later day."
    if errors:
        raise ValidationError(errors)
    note.full_clean(validate_constraints=False)
    note.save()
    return note


def open_notes(herd):
    """Standing notes of a herd that are not over, of animals and litters that are still there."""
    notes = HealthNote.objects.filter(herd=herd, ended_on__isnull=True).standing().of_stock_here()
    return notes.select_related("animal", "litter__dam", "herd").order_by(F("follow_up_on").asc(nulls_last=True), "-on")
