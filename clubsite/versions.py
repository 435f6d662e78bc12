"""Rows that two people may edit at once carry a version; a stale page is refused, never merged by halves."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F


class StalePage(ValidationError):
    """Somebody saved the row after this page was opened."""


class Versioned(models.Model):
    """A row whose version rises with every edit through `save_version`."""

    version = models.PositiveIntegerField(default=1, editable=False)
    edited_at = models.DateTimeField(auto_now=True)

    class Meta:
        abstract = True

    def save_version(self, version, fields):
        """Save the named fields if `version` (None: whichever) is still the row's; else raise StalePage."""
        rows = type(self)._base_manager.filter(pk=self.pk)
        if version is not None:
            rows = rows.filter(version=version)
        values = {name: getattr(self, name) for name in fields}
        from django.utils import timezone

        if not rows.update(version=F("version") + 1, edited_at=timezone.now(), **values):
            raise self.stale_page()
        self.refresh_from_db(fields=["version", "edited_at"])

    def stale_page(self):
        """The refusal to raise when this row is newer than the page that was sent."""
        return StalePage(
            f"{self} was changed by somebody else after you opened this page. What you typed is still here: "
            "compare it with the saved values, then save again."
        )
