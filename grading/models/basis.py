"""What stands behind a position of the schedule: the traits and findings that describe the same thing."""

from django.db import models
from django.db.models import Q

from .editions import kept_once_published
from .profile import FindingKind, Position, Trait

OF_ITS_POSITION = "(SELECT b.profile_id FROM grading_position b WHERE b.id = {row}.position_id)"


class Basis(models.Model):
    """One trait, or one finding, behind a position. Points are never derived from it; they are only compared."""

    position = models.ForeignKey(Position, models.CASCADE, related_name="basis")
    trait = models.ForeignKey(Trait, models.PROTECT, null=True, blank=True, related_name="+")
    finding = models.ForeignKey(FindingKind, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["position", "trait__section", "trait__position", "finding__position"]
        verbose_name_plural = "bases"
        constraints = [
            models.CheckConstraint(
                condition=Q(trait__isnull=False, finding__isnull=True) | Q(trait__isnull=True, finding__isnull=False),
                name="basis_trait_or_finding",
                violation_error_message="Behind a position stands a trait or a finding, one in each row.",
            ),
            models.UniqueConstraint(
                fields=["position", "trait", "finding"],
                nulls_distinct=False,
                name="basis_once",
                violation_error_message="This already stands behind the position.",
            ),
        ]
        triggers = [kept_once_published(OF_ITS_POSITION)]

    def __str__(self):
        return f"{self.trait or self.finding} behind {self.position}"
