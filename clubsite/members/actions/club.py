"""The club's settings change in one step, and never over somebody else's change."""

from functools import partial

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from clubsite.versions import StalePage

from ..models import Club
from ..regions import clean_region


def change_settings(*, version, by, picture=None, remove_picture=False, **values):
    """Save the named settings if `version` is still the club's; else raise StalePage and change nothing.

    `picture` is a cleaned file in the place of the one before; None keeps it, unless `remove_picture`.
    """
    if not (by.is_active and by.is_officer):
        raise NotYours
    with rules_explained():
        club = Club.objects.select_for_update().get(pk=Club.current().pk)
        if club.version != version:
            raise StalePage(
                "Another officer changed the settings after you opened this page. What you typed is still here: "
                "compare it with the saved values below, then save again."
            )
        for name, value in values.items():
            setattr(club, name, value)
        club.region = clean_region(club.region)
        _in_order(club)
        club.full_clean()
        if picture is not None or remove_picture:
            _change_picture(club, picture)
        club.version = F("version") + 1
        club.save(update_fields=[*values, "picture", "version"])
        club.refresh_from_db()
    return club


def _change_picture(club, picture):
    """Put the new file in the place of the old one, which goes when the change is certain."""
    old = club.picture.name
    if picture is None:
        club.picture = ""
    elif not old.endswith(picture.name):
        club.picture.save(picture.name, picture, save=False)
    if old and old != club.picture.name:
        transaction.on_commit(partial(club.picture.storage.delete, old))


# (the earlier setting, the later one, what to say by the later one)
ORDER = (
    ("palpation_days", "due_days", "Palpation comes before kindling is due."),
    ("nest_box_days", "due_days", "The nest box goes in before kindling is due."),
    ("earliest_kindling_days", "due_days", "The due day must not come before the earliest kindling day."),
    ("due_days", "overdue_days", "The day to call a vet must not come before the due day."),
    ("due_days", "latest_kindling_days", "The latest kindling day must not come before the due day."),
    ("wean_from_days", "wean_to_days", "The last weaning day must not come before the first."),
    ("rebreed_from_days", "rebreed_to_days", "The last rebreeding day must not come before the first."),
)


def _in_order(club):
    errors = {
        later: ValidationError(words)
        for earlier, later, words in ORDER
        if getattr(club, earlier) > getattr(club, later)
    }
    if errors:
        raise ValidationError(errors)
