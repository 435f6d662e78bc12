import hashlib
import secrets

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone


def hashed(token):
    """What the table keeps of a token: a leaked table opens no door."""
    return hashlib.sha256(token.encode()).hexdigest()


class InvitationQuerySet(models.QuerySet):
    def open(self, at=None):
        """Invitations that can still be accepted."""
        return self.filter(accepted_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=at or timezone.now())

    def for_token(self, token):
        return self.filter(token_hash=hashed(token))


class Invitation(models.Model):
    """A door for one person, once, until it expires."""

    email = models.EmailField("e-mail")
    name = models.CharField(max_length=80, blank=True)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    as_officer = models.BooleanField("invite as officer", default=False)
    as_registrar = models.BooleanField("invite as registrar", default=False)
    guardian = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, null=True, blank=True, related_name="+",
        help_text="For a youth account: the adult member who answers for it.",
    )  # fmt: skip
    invited_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    accepted_by = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="invitation"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = InvitationQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=True, accepted_by__isnull=True)
                | Q(accepted_at__isnull=False, accepted_by__isnull=False),
                name="invitation_accepted_in_pair",
            ),
            models.CheckConstraint(condition=Q(expires_at__gt=F("made_at")), name="invitation_expires_after_made"),
        ]

    def __str__(self):
        return f"Invitation for {self.email}"

    @property
    def can_be_sent(self):
        """True until it is accepted or withdrawn; one that ran out may be sent again."""
        return self.accepted_at is None and self.withdrawn_at is None

    @staticmethod
    def new_token():
        return secrets.token_urlsafe(32)
