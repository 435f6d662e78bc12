"""Logging animals, and saying where they are now."""

from django.core.exceptions import ValidationError
from django.db.models import Count
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.models import PRESENT, Animal, Breed, Herd, Mark, MarkKind, Quarantine, Sex, Status, Transfer
from herds.words import day_words

from .marks import check_mark
from .parents import check_parents
from .withdrawals import ask_about_withdrawals

EATEN_OR_SOLD = (Status.TABLE, Status.MOVED_ON)
PLACES = [choice for choice in Status.choices if choice[0] != Status.OUTSIDE]


def log_animal(*, by, herd, breed, sex=Sex.UNKNOWN, born_on=None, sire=None, dam=None, mark="", bred_in=None, **more):
    """Enter an animal of one of the member's herds; a parent may be a NewAncestor, which is entered with it.

    `mark` is a left-ear tattoo unless `mark_kind` says otherwise. Raises ValidationError by field.
    """
    if not Herd.objects.kept_by(by).filter(pk=herd.pk).exists():
        raise ValidationError("You can only log animals of your own herds.")
    kind = more.pop("mark_kind", MarkKind.LEFT_EAR)
    with rules_explained():
        sire, dam = (_registered(parent, breed, by) for parent in (sire, dam))
        animal = Animal(
            herd=herd, breed=breed, sex=sex, born_on=born_on, sire=sire, dam=dam, bred_in=bred_in, logged_by=by, **more
        )
        _check_born(born_on)
        check_parents(sire=sire, dam=dam, born_on=born_on)
        animal.full_clean(validate_unique=False)
        animal.save()
        if mark:
            _first_mark(animal, mark, kind, by)
    return animal


def log_outside_ancestor(*, by, breed, sex, name="", mark="", breeder_name="", born_on=None):
    """Enter an ancestor that never stood in a herd of the club."""
    if not name and not mark:
        raise ValidationError("Give the ancestor a name or a mark.")
    with rules_explained():
        animal = Animal(breed=breed, sex=sex, name=name, breeder_name=breeder_name, born_on=born_on)
        animal.status, animal.logged_by = Status.OUTSIDE, by
        animal.full_clean(validate_unique=False)
        animal.save()
        if mark:
            _first_mark(animal, mark, MarkKind.LEFT_EAR, by)
    return animal


def change_status(*, animals, status, by, on=None, note="", confirmed=""):
    """Say where the animals are now. Those that leave end their quarantine and any offer to another herd.

    To the table, or to another home, while a withdrawal period runs asks first.
    """
    on = on or timezone.localdate()
    if status not in dict(PLACES):
        raise ValidationError({"status": "Choose where the animal is now."})
    if on > timezone.localdate():
        raise ValidationError({"on": f"{day_words(on)} lies in the future. Choose today or an earlier day."})
    with rules_explained():
        rows = kept_rows(animals, by)
        if status in EATEN_OR_SOLD:
            ask_about_withdrawals(rows, step=status, confirmed=confirmed, on=on)
        for animal in rows:
            if animal.born_on and on < animal.born_on:
                said = f"{animal} was born on {day_words(animal.born_on)}. Choose that day or a later one."
                raise ValidationError({"on": said})
            animal.status, animal.status_on, animal.status_note = status, on, note
            animal.save_version(None, ["status", "status_on", "status_note"])
        if status not in PRESENT:
            _leave(rows, on, by)
    return rows


def kept_rows(animals, by):
    """The animals, locked for change; refused unless all are the member's own."""
    wanted = {animal.pk for animal in animals}
    rows = list(Animal.objects.kept_by(by).select_for_update(of=("self",)).filter(pk__in=wanted).order_by("pk"))
    if not rows or len(rows) != len(wanted):
        raise ValidationError("One of these animals no longer stands in your herd. Open the page again.")
    return rows


def default_breed(herd):
    """The breed of the herd's latest animal, else the breed of most of the club's, else the first; None without any."""
    latest = herd.animals.order_by("-pk").first() if herd is not None else None
    if latest is not None:
        return latest.breed
    return Breed.objects.annotate(size=Count("animals")).order_by("-size", "pk").first()


def _leave(rows, on, by):
    for quarantine in Quarantine.objects.filter(animal__in=rows, ended_on__isnull=True):
        quarantine.ended_on = max(on, quarantine.started_on)
        quarantine.save(update_fields=["ended_on"])
    Transfer.objects.filter(animal__in=rows, outcome=Transfer.Outcome.OPEN).update(
        outcome=Transfer.Outcome.WITHDRAWN, settled_by=by, settled_at=timezone.now()
    )


def _registered(parent, breed, by):
    if parent is None or isinstance(parent, Animal):
        return parent
    return log_outside_ancestor(
        by=by, breed=breed, sex=parent.sex, name=parent.name, mark=parent.mark, breeder_name=parent.breeder_name
    )


def _first_mark(animal, text, kind, by):
    mark = Mark(
        animal=animal, kind=kind, text=text, issued_by=animal.bred_in, issuer_name=animal.breeder_name, logged_by=by
    )
    check_mark(mark)
    mark.save()
    animal.refresh_from_db(fields=["mark_text"])


def _check_born(born_on):
    if born_on and born_on > timezone.localdate():
        said = f"{day_words(born_on)} lies in the future. Choose today or an earlier day."
        raise ValidationError({"born_on": said})
