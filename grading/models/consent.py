"""An owner's leave to show a photo to the club's graders, its animal and herd hidden."""

from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from herds.models import Herd

from .photo import Photo, PhotoState, View


class PhotoConsentQuerySet(models.QuerySet):
    def standing(self):
        return self.filter(withdrawn_at__isnull=True)

    def editable_by(self, member):
        return self.filter(photo__animal__herd__in=Herd.objects.kept_by(member))


class PhotoConsent(models.Model):
    """A leave for one use, given by an owner of the animal's herd, taken back at once; the row stays."""

    class Use(models.TextChoices):
        CALIBRATION = "calibration", "the yearly calibration"
        PRACTICE = "practice", "practice for newcomers"

    photo = models.ForeignKey(Photo, models.CASCADE, related_name="consents")
    use = models.CharField(max_length=11, choices=Use)
    given_by = models.ForeignKey("members.Member", models.PROTECT, related_name="+")
    given_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = PhotoConsentQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["photo", "use"],
                condition=Q(withdrawn_at__isnull=True),
                name="photo_consent_once",
                violation_error_message="This photo is open for that already.",
            ),
            models.CheckConstraint(condition=Q(use__in=["calibration", "practice"]), name="photo_consent_use_known"),
        ]

    def __str__(self):
        return f"{self.photo} for {self.get_use_display()}"


def open_photos(use):
    """Photos that may be shown for a use today, see `may_be_shown`."""
    return Photo.objects.filter(may_be_shown(use))


def may_be_shown(use):
    """Condition on photos: a standing consent for the use, ready, not withdrawn, and no ear mark, which names its animal.

    A photo's view can be put right after the consent, so the last is asked for each time.
    """
    consents = PhotoConsent.objects.standing().filter(photo=OuterRef("pk"), use=use)
    return Q(Exists(consents), withdrawn_at__isnull=True, state=PhotoState.READY) & ~Q(view=View.EAR_MARK)
