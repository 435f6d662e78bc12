import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone

from herds.models import Animal, AnimalGrant, Grant, Herd

from .look import Light, Look


class View(models.TextChoices):
    """The protocol's views, in the order in which they are taken."""

    LEFT_SIDE = "left_side", "left side"
    RIGHT_SIDE = "right_side", "right side"
    TOP = "top", "top"
    HEAD_FRONT = "head_front", "front of head"
    REAR = "rear", "rear"
    PARTED_LOIN = "parted_loin", "coat parted at loin"
    PARTED_RUMP = "parted_rump", "coat parted at rump"
    FEET_BELLY = "feet_belly", "feet and belly"
    NAILS_EYE = "nails_eye", "nails and eye"
    EAR_MARK = "ear_mark", "ear mark"
    OTHER = "other", "another view"


class PhotoState(models.TextChoices):
    WAITING = "waiting", "waiting for its small copies"
    READY = "ready", "ready"
    REFUSED = "refused", "could not be read"


class Reference(models.TextChoices):
    """What in the frame makes a photo measured; without one it is for the eye only."""

    NONE = "none", "no reference card"
    GREY_CARD = "grey_card", "grey card"
    THREE_GREYS = "three_greys", "three-step grey card"
    CHART = "chart", "colour chart"


class PhotoQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Photos of the member's herds, of herds that share photos, and of running grants."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        granted = Grant.objects.running().filter(mentor=member.pk).values("herd")
        singly = AnimalGrant.objects.running().filter(mentor=member.pk).values("animal")
        kept = Herd.objects.kept_by(member)
        opened = Q(animal__herd__in=granted) | Q(animal__herd__shares_photos=True) | Q(animal__in=singly)
        return self.filter(Q(animal__herd__in=kept) | (Q(withdrawn_at__isnull=True) & opened))

    def editable_by(self, member):
        return self.filter(animal__herd__in=Herd.objects.kept_by(member))

    def shown(self):
        return self.filter(withdrawn_at__isnull=True).exclude(state=PhotoState.REFUSED)


def original_path(photo, filename):
    """Two levels of folders by key; the name tells nothing about the animal."""
    key = photo.key.hex
    return f"photos/{key[:2]}/{key}/original{filename[filename.rfind('.') :] if '.' in filename else ''}"


class Photo(models.Model):
    """A photograph of an animal, its original without metadata and its sized copies."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    animal = models.ForeignKey(Animal, models.PROTECT, related_name="photos")
    look = models.ForeignKey(Look, models.SET_NULL, null=True, blank=True, related_name="photos")
    view = models.CharField(max_length=12, choices=View, default=View.OTHER)
    taken_on = models.DateField(default=timezone.localdate)
    age_days = models.PositiveIntegerField(null=True, blank=True)
    light = models.CharField(max_length=10, choices=Light, blank=True)
    reference = models.CharField(max_length=12, choices=Reference, default=Reference.NONE)
    caption = models.CharField(max_length=200, blank=True)
    original = models.FileField(upload_to=original_path, max_length=200)
    checksum = models.CharField(max_length=64, editable=False)
    bytes = models.PositiveIntegerField(editable=False)
    width = models.PositiveIntegerField(null=True, editable=False)
    height = models.PositiveIntegerField(null=True, editable=False)
    state = models.CharField(max_length=8, choices=PhotoState, default=PhotoState.WAITING)
    problem = models.CharField(max_length=200, blank=True)
    client_key = models.UUIDField(null=True, blank=True, unique=True)
    uploaded_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+")
    uploaded_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["taken_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["animal", "checksum"],
                condition=Q(withdrawn_at__isnull=True),
                name="photo_once_per_animal",
                violation_error_message="This photo of the animal is already here.",
            ),
            models.CheckConstraint(condition=Q(view__in=View.values), name="photo_view_known"),
            models.CheckConstraint(
                condition=~Q(state="ready") | Q(width__isnull=False, height__isnull=False),
                name="photo_ready_has_size",
            ),
        ]
        indexes = [models.Index(fields=["animal", "view", "taken_on"])]

    def __str__(self):
        return f"{self.get_view_display()} of {self.animal}, {self.taken_on:%d %b %Y}"

    def sized_path(self, size):
        """Where the sized copy lies in the photo store."""
        key = self.key.hex
        return f"photos/{key[:2]}/{key}/{size}.jpg"
