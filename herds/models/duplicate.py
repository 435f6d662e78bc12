from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from .animal import Animal

MEMBER = "members.Member"


class DuplicateState(models.TextChoices):
    OPEN = "open", "waiting for the registrar"
    MERGED = "merged", "one animal"
    APART = "apart", "two animals"


class DuplicateQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Possible duplicates are the registrar's; nobody else is shown them."""
        return self.all() if getattr(member, "is_registrar", False) and member.is_active else self.none()

    editable_by = visible_to

    def open(self):
        return self.filter(state=DuplicateState.OPEN)


class PossibleDuplicate(models.Model):
    """Two cards that may be one animal, offered to the registrar with what speaks for it."""

    first = models.ForeignKey(Animal, models.CASCADE, related_name="+")
    second = models.ForeignKey(Animal, models.CASCADE, related_name="+")
    why = models.CharField(max_length=300, help_text="What both cards have in common, as a sentence.")
    found_by = models.CharField(max_length=20, default="sheet", help_text="What raised it: a sheet, or a person.")
    state = models.CharField(max_length=6, choices=DuplicateState, default=DuplicateState.OPEN)
    found_at = models.DateTimeField(default=timezone.now)
    settled_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    objects = DuplicateQuerySet.as_manager()

    class Meta:
        ordering = ["-found_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(first__lt=F("second")), name="duplicate_pair_in_order"),
            models.UniqueConstraint(
                fields=["first", "second"],
                name="duplicate_pair_once",
                violation_error_message="These two cards are offered as one animal already.",
            ),
            models.CheckConstraint(
                condition=Q(state="open", settled_by__isnull=True, settled_at__isnull=True)
                | (~Q(state="open") & Q(settled_by__isnull=False, settled_at__isnull=False)),
                name="duplicate_settled_in_pair",
            ),
            models.CheckConstraint(condition=Q(state__in=DuplicateState.values), name="duplicate_state_known"),
        ]

    def __str__(self):
        return f"{self.first} and {self.second}"
