from django.db import models
from django.db.models import Q
from django.utils import timezone


class PopulationRun(models.Model):
    """One working-out of a breed's population figures. The last finished one is what the page shows, with its day."""

    breed = models.ForeignKey("herds.Breed", models.CASCADE, related_name="population_runs")
    asked_at = models.DateTimeField(default=timezone.now)
    asked_by = models.ForeignKey("members.Member", models.SET_NULL, null=True, blank=True, related_name="+")
    finished_at = models.DateTimeField(null=True, blank=True)
    problem = models.TextField(blank=True, help_text="Why there are no figures, as a sentence.")
    figures = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["breed"],
                condition=Q(finished_at__isnull=True),
                name="population_run_one_at_a_time",
                violation_error_message="The figures of this breed are being worked out already.",
            ),
            models.CheckConstraint(
                condition=Q(finished_at__isnull=True, figures__isnull=True, problem="")
                | Q(finished_at__isnull=False, figures__isnull=False, problem="")
                | (Q(finished_at__isnull=False, figures__isnull=True) & ~Q(problem="")),
                name="population_run_figures_or_problem",
            ),
        ]
        indexes = [models.Index(fields=["breed", "-finished_at"], name="population_run_last")]

    def __str__(self):
        return f"population figures of {self.breed}, {self.asked_at:%d %b %Y}"
