from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from clubsite.members.models.invitation import hashed


class FeedWords(models.TextChoices):
    FULL = "full", "what is to be done, with marks and names"
    COUNT = "count", "only how many tasks a day has"


class FeedAddressQuerySet(models.QuerySet):
    def open(self):
        return self.filter(revoked_at__isnull=True)

    def read_by(self, token):
        """The open address of a token, of a member who is still in the club."""
        return self.open().filter(token_hash=hashed(token), member__is_active=True).select_related("member")


class FeedAddress(models.Model):
    """The secret address under which a calendar program reads one member's tasks; only its hash is kept."""

    member = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="feed_addresses")
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    words = models.CharField("what the calendar shows", max_length=5, choices=FeedWords, default=FeedWords.FULL)
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    revoked_at = models.DateTimeField(null=True, blank=True, editable=False)
    last_read_at = models.DateTimeField(null=True, blank=True, editable=False)
    content_hash = models.CharField(max_length=64, blank=True, editable=False)
    content_since = models.DateTimeField(default=timezone.now, editable=False)

    objects = FeedAddressQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["member"], condition=Q(revoked_at__isnull=True), name="feed_address_one_open",
                violation_error_message="You already have a calendar address. Make a new one in its place.",
            ),
            models.CheckConstraint(condition=Q(words__in=FeedWords.values), name="feed_address_words_known"),
        ]  # fmt: skip

    def __str__(self):
        return f"calendar of {self.member}"
