"""Who is to hear by e-mail that a calibration set opened, that it closes soon, or that its results are there."""

from django.db import models
from django.utils import timezone

from .calibration import MEMBER, CalibrationSet


class CalibrationNews(models.Model):
    """That a member is to hear of a set by e-mail, once for each kind; the letter tells no content."""

    class Kind(models.TextChoices):
        OPENED = "opened", "a calibration set is open"
        CLOSES = "closes", "a calibration set closes soon"
        RESULT = "result", "a calibration result is there"

    member = models.ForeignKey(MEMBER, models.CASCADE, related_name="+")
    of = models.ForeignKey(CalibrationSet, models.CASCADE, related_name="news")
    kind = models.CharField(max_length=6, choices=Kind)
    at = models.DateTimeField(default=timezone.now)
    mailed_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["of", "member", "kind"], name="calibration_news_once"),
            models.CheckConstraint(
                condition=models.Q(kind__in=["opened", "closes", "result"]), name="calibration_news_kind_known"
            ),
        ]
        indexes = [models.Index(fields=["member", "mailed_at"])]

    def __str__(self):
        return f"{self.get_kind_display()}, {self.member}"
