"""What was changed, by whom, from what to what; written by triggers, read by those who may."""

from collections.abc import Callable
from typing import Any

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clubsite.constraints import sentence


class Audience(models.TextChoices):
    """Whom a change concerns; READERS says who that is for a member."""

    IDENTITY = "identity", "registrars, and the keepers of the animal or herd"
    KEEPERS = "keepers", "keepers of the herd only"
    GRANT = "grant", "keepers of the herd, and the mentor"
    LOOK = "look", "whoever may see the look"
    CLUB = "club", "officers"


class Action(models.TextChoices):
    MADE = "insert", "made"
    CHANGED = "update", "changed"
    REMOVED = "delete", "removed"


# {audience: function of a member, giving a condition on changes, or None when they may read none}
READERS: dict[str, Callable[[Any], Q | None]] = {
    Audience.CLUB: lambda member: Q() if member.is_officer else None,
}
# The models behind the keys by which changes are found on a page, such as {"animal": "herds.animal"}
TIES: dict[str, str] = {}


class ChangeQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Changes that the member may read; each app says it for its own rows in READERS."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        allowed = Q(pk__in=[])
        for audience, reader in READERS.items():
            if (condition := reader(member)) is not None:
                allowed |= Q(audience=audience) & condition
        return self.filter(allowed)

    def of(self, row):
        """Changes of one row and of what hangs on it."""
        label = row._meta.label_lower
        return self.filter(Q(label=label, object_id=row.pk) | Q(parent=label, parent_id=row.pk))

    def forget(self):
        """Delete these for good; only when an account or herd is closed, or an empty registry was filled."""
        with pgtrigger.ignore("members.Change:change_stays"):
            return self.delete()


sentence("change_stays", "What was changed stays on the record.")


class Change(models.Model):
    """One row of any table, changed once. Keys are kept instead of names, so that names vanish with their people."""

    at = models.DateTimeField(db_default=Now())
    label = models.CharField(max_length=60, help_text="The model, such as herds.mark.")
    object_id = models.BigIntegerField()
    parent = models.CharField(max_length=60, blank=True, help_text="The model of the row that it hangs on.")
    parent_id = models.BigIntegerField(null=True)
    action = models.CharField(max_length=6, choices=Action)
    audience = models.CharField(max_length=8, choices=Audience)
    changed = models.JSONField(help_text="{column: [before, after]}; an empty list where the values are not kept.")
    about = models.JSONField(help_text="What the row was known by before.")
    animal_id = models.BigIntegerField(null=True)
    herd_id = models.BigIntegerField(null=True)
    person_id = models.BigIntegerField(null=True, help_text="The member whom it concerns.")
    # No constraint in the database: a row here must never be in the way of another.
    member = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.DO_NOTHING, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    reason = models.CharField(max_length=300, blank=True)
    page = models.CharField(max_length=80, blank=True, help_text="The address's name, the job or the command.")

    objects = ChangeQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [
            models.Index(fields=["audience", "-id"], name="change_audience"),
            models.Index(fields=["label", "object_id"], name="change_object"),
            models.Index(fields=["parent", "parent_id"], condition=Q(parent_id__isnull=False), name="change_parent"),
            models.Index(fields=["animal_id", "-id"], condition=Q(animal_id__isnull=False), name="change_animal"),
            models.Index(fields=["herd_id", "-id"], condition=Q(herd_id__isnull=False), name="change_herd"),
            models.Index(fields=["member", "-id"], condition=Q(member__isnull=False), name="change_member"),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="change_stays",
                when=pgtrigger.Before,
                operation=pgtrigger.Update | pgtrigger.Delete,
                func="RAISE EXCEPTION 'stays' USING ERRCODE = 'check_violation', CONSTRAINT = 'change_stays';",
            )
        ]

    def __str__(self):
        return f"{self.get_action_display()} {self.label} {self.object_id}"
