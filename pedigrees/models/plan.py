from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from herds.models import Animal, Herd, Mating


class PlannedMatingQuerySet(models.QuerySet):
    """A plan belongs to the doe's herd, and is nobody else's."""

    def visible_to(self, member):
        return self.filter(herd__in=Herd.objects.kept_by(member))

    editable_by = visible_to

    def open(self):
        """Not dropped, and not done: no mating of the two was logged since it was planned."""
        return self.filter(dropped_at__isnull=True).exclude(Exists(self.matings()))

    def with_done(self):
        """Annotate `is_done`: whether the two were mated since."""
        return self.annotate(is_done=Exists(self.matings()))

    @staticmethod
    def matings():
        return Mating.objects.filter(doe=OuterRef("doe"), buck=OuterRef("buck"), mated_on__gte=OuterRef("planned_on"))


class PlannedMating(models.Model):
    """A pair chosen for the season, with what spoke for it on the day it was chosen."""

    herd = models.ForeignKey(Herd, models.CASCADE, related_name="planned_matings")
    doe = models.ForeignKey(Animal, models.CASCADE, related_name="planned_as_doe")
    buck = models.ForeignKey(Animal, models.CASCADE, related_name="planned_as_buck")
    planned_on = models.DateField(default=timezone.localdate)
    planned_by = models.ForeignKey("members.Member", models.PROTECT, related_name="+")
    expected_inbreeding = models.FloatField(null=True)
    reasons = models.JSONField(default=list, help_text="Sentences, as they were read on the day.")
    note = models.CharField(max_length=200, blank=True)
    dropped_at = models.DateTimeField(null=True, blank=True)

    objects = PlannedMatingQuerySet.as_manager()

    class Meta:
        ordering = ["-planned_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["doe", "buck"],
                condition=Q(dropped_at__isnull=True),
                name="planned_mating_once",
                violation_error_message="This mating is in the plan already.",
            ),
            models.CheckConstraint(
                condition=~Q(doe=models.F("buck")),
                name="planned_mating_of_two",
                violation_error_message="Choose two animals.",
            ),
            models.CheckConstraint(
                condition=Q(expected_inbreeding__isnull=True)
                | Q(expected_inbreeding__gte=0, expected_inbreeding__lte=1),
                name="planned_mating_inbreeding_0_to_1",
            ),
        ]

    def __str__(self):
        return f"{self.doe} to {self.buck}"
