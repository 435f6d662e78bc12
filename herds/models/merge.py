from django.db import models
from django.db.models import Q
from django.utils import timezone

from .animal import Animal

MEMBER = "members.Member"


class MergeQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Merges are the registrar's, as duplicates are."""
        return self.all() if getattr(member, "is_registrar", False) and member.is_active else self.none()

    editable_by = visible_to

    def standing(self):
        return self.filter(undone_at__isnull=True)


class Merge(models.Model):
    """Two cards that became one. It holds the card that went, what moved from it and what gave way: all to undo it."""

    kept = models.ForeignKey(Animal, models.PROTECT, related_name="merges")
    gone = models.BigIntegerField(db_index=True, help_text="The key of the card that went.")
    gone_words = models.CharField(max_length=200)
    card = models.JSONField(help_text="The card that went, as it was.")
    moved = models.JSONField(
        default=dict, help_text="{model.field: [keys]} of the rows that now belong to the kept card."
    )
    aside = models.JSONField(default=list, help_text="Rows that could not stand twice, as they were.")
    filled = models.JSONField(default=dict, help_text="{field: value} that the kept card lacked.")
    reason = models.CharField(max_length=300)
    made_by = models.ForeignKey(MEMBER, models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    undone_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, blank=True, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)

    objects = MergeQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["gone"], condition=Q(undone_at__isnull=True), name="merge_once",
                violation_error_message="This card was made one with another already.",
            ),
            models.CheckConstraint(
                condition=Q(undone_at__isnull=True, undone_by__isnull=True)
                | Q(undone_at__isnull=False, undone_by__isnull=False),
                name="merge_undone_in_pair",
            ),
            models.CheckConstraint(
                condition=~Q(reason=""), name="merge_with_reason",
                violation_error_message="Say how you know that it is one animal.",
            ),
        ]  # fmt: skip

    def __str__(self):
        return f"{self.gone_words} into {self.kept}"
