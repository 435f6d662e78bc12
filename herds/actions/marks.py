"""Marks: the first one, a further one, a new one in place of the old. None is ever overwritten."""

from django.core.exceptions import ValidationError
from django.db import connection
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.history import because
from herds.finding import key, one_space
from herds.models import Animal, Correction, Mark, MarkKind
from herds.policies import keeps

EAR = (MarkKind.LEFT_EAR, MarkKind.RIGHT_EAR)


def may_mark(animal, member):
    """The keeper marks; so do the registrar, and for an outside ancestor whoever logged it."""
    logged_it = animal.herd_id is None and animal.logged_by_id == member.pk
    return keeps(animal, member) or member.is_registrar or logged_it


def check_mark(mark):
    """Raise, by the field `mark`, unless the text can stand as a mark; says which animal has it already."""
    mark.text = one_space(mark.text)
    if not mark.text:
        raise ValidationError({"mark": "Type the mark as it reads on the animal."})
    if len(mark.text) > 40:
        raise ValidationError({"mark": "A mark has at most 40 letters and digits. Shorten it."})
    if holder := _holder(mark):
        where = f"in {mark.issued_by}" if mark.issued_by_id else "from this issuer"
        said = f"{holder} already has the {mark.get_kind_display()} {mark.text} {where}. Check both animals."
        raise ValidationError({"mark": said})


def add_mark(*, animal, kind, text, by, issued_on=None, issuer_name=""):
    """A further mark, or the first: one of each kind at a time."""
    if not may_mark(animal, by):
        raise ValidationError("Only its owner and the registrar add a mark.")
    with rules_explained():
        locked = Animal.objects.select_for_update(of=("self",)).get(pk=animal.pk)
        if old := locked.marks.current().filter(kind=kind).first():
            said = f"{locked} already has the {old.get_kind_display()} {old}. Replace it instead."
            raise ValidationError({"kind": said})
        mark = _new_mark(locked, kind, text, by, issued_on, issuer_name)
    return mark


def replace_mark(*, mark, reason, by, text="", on=None):
    """Put a new text in the place of a mark, or end it when the new text is empty; the old one stays readable.

    Returns the new mark, or the ended one when there is none.
    """
    if not may_mark(mark.animal, by):
        raise ValidationError("Only its owner and the registrar replace a mark.")
    reason = one_space(reason)
    if not reason:
        raise ValidationError({"reason": "Say why the mark was replaced."})
    on = on or timezone.localdate()
    if on > timezone.localdate():
        raise ValidationError({"on": "This day lies in the future. Choose today or an earlier day."})
    with rules_explained(), because(reason):
        animal = Animal.objects.select_for_update(of=("self",)).get(pk=mark.animal_id)
        old = Mark.objects.get(pk=mark.pk)
        if old.replaced_on:
            raise ValidationError(f"{old} was already replaced. Open the page of {animal} again.")
        if old.issued_on and on < old.issued_on:
            raise ValidationError({"on": "A mark cannot be replaced before it was made. Choose a later day."})
        new = None
        if one_space(text):
            issued_on = on if old.kind in EAR else None
            new = _checked_mark(animal, old.kind, text, by, issued_on, old.issuer_name, old.issued_by)
            new.pk = _next_key()
        # The new mark's key is known before its row, so that the end and what came after are one change on the record.
        old.replaced_on, old.reason, old.replaced_by_id = on, reason, new and new.pk
        old.save(update_fields=["replaced_on", "reason", "replaced_by"])
        if new:
            new.save(force_insert=True)
        Correction.objects.create(
            animal=animal, field=old.get_kind_display(), old=old.text, new=new.text if new else "", reason=reason, by=by
        )
    return new or old


def reissue_marks(animal):
    """Let the current ear marks follow the breeder: a left-ear mark is unique in the breeder's herd."""
    for mark in animal.marks.current().filter(kind__in=EAR):
        mark.issued_by, mark.issuer_name = animal.bred_in, animal.breeder_name
        check_mark(mark)
        mark.save(update_fields=["issued_by", "issuer_name"])


def _new_mark(*given):
    mark = _checked_mark(*given)
    mark.save()
    return mark


def _next_key():
    with connection.cursor() as cursor:
        cursor.execute("SELECT nextval(pg_get_serial_sequence('herds_mark', 'id'))")
        return cursor.fetchone()[0]


def _checked_mark(animal, kind, text, by, issued_on, issuer_name, issued_by=None):
    mark = Mark(animal=animal, kind=kind, text=text, issued_on=issued_on, logged_by=by, issuer_name=issuer_name)
    if kind in EAR:
        mark.issued_by = issued_by or animal.bred_in
        mark.issuer_name = issuer_name or animal.breeder_name
    check_mark(mark)
    return mark


def _holder(mark):
    others = Mark.objects.current().filter(kind=mark.kind).select_related("animal").exclude(animal=mark.animal_id)
    if mark.kind == MarkKind.LEFT_EAR:
        others = others.filter(issued_by=mark.issued_by_id) if mark.issued_by_id else others.none()
    elif mark.kind in (MarkKind.RING, MarkKind.REGISTRATION):
        others = others.filter(issuer_name__iexact=mark.issuer_name)
    else:
        return None
    held = others.filter(key=key(mark.text)).first()
    return held.animal if held else None
