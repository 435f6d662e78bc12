"""Keeping a newcomer or a show returner apart, and ending it."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.members.models import Club
from herds.models import Quarantine
from herds.words import day_words

from .animals import kept_rows


def start_quarantine(*, animal, by, started_on=None, planned_until=None, reason=""):
    """Open a quarantine; without an end day it lasts as long as the club's setting says."""
    today = timezone.localdate()
    started_on = started_on or today
    planned_until = planned_until or started_on + timedelta(days=Club.current().quarantine_days)
    if started_on > today:
        raise ValidationError({"started_on": "This day lies in the future. Choose today or an earlier day."})
    if animal.born_on and started_on < animal.born_on:
        said = f"{animal} was born on {day_words(animal.born_on)}. Choose that day or a later one."
        raise ValidationError({"started_on": said})
    if planned_until < started_on:
        raise ValidationError({"planned_until": "The quarantine ends before it starts. Choose a later day."})
    with rules_explained():
        (row,) = kept_rows([animal], by)
        if open_one := Quarantine.objects.filter(animal=row, ended_on__isnull=True).first():
            said = f"{row} is already in quarantine, until {day_words(open_one.planned_until)}."
            raise ValidationError(said)
        return Quarantine.objects.create(
            animal=row, herd=row.herd, started_on=started_on, planned_until=planned_until, reason=reason, logged_by=by
        )


def end_quarantine(*, quarantine, by, on=None):
    """Close a quarantine on a day; closing it twice changes nothing the second time."""
    on = on or timezone.localdate()
    if on > timezone.localdate():
        raise ValidationError({"ended_on": "This day lies in the future. Choose today or an earlier day."})
    if on < quarantine.started_on:
        said = f"The quarantine began on {day_words(quarantine.started_on)}. Choose that day or a later one."
        raise ValidationError({"ended_on": said})
    with rules_explained():
        (row,) = kept_rows([quarantine.animal], by)
        Quarantine.objects.filter(pk=quarantine.pk, animal=row, ended_on__isnull=True).update(ended_on=on)
    quarantine.refresh_from_db()
    return quarantine
