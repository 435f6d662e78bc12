"""What the house itself remembers: which night each of its nightly jobs was last done."""

from django.db import models


class NightlyRun(models.Model):
    """A job of clubsite/nightly.py: the last night for which it is done, and how its last run ended."""

    name = models.CharField(max_length=60, primary_key=True)
    night = models.DateField(help_text="The day on whose early morning the night ended.")
    began_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    outcome = models.TextField(blank=True)
    failed = models.BooleanField(default=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ended_at__isnull=True) | models.Q(began_at__isnull=False),
                name="nightly_run_ends_after_it_begins",
            )
        ]

    def __str__(self):
        return f"{self.name}, {self.night}"
