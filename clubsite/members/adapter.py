from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter

from .models import Club


class AccountAdapter(DefaultAccountAdapter):
    """People enter the club by invitation only."""

    def is_open_for_signup(self, request):
        return False


class SecondFactorAdapter(DefaultMFAAdapter):
    """Authenticator apps and passkeys show the club's name."""

    def get_totp_issuer(self):
        return Club.current().name

    def get_public_key_credential_rp_entity(self):
        return {**super().get_public_key_credential_rp_entity(), "name": Club.current().name}

    def generate_authenticator_name(self, user, type):
        """A name to begin with; the member may give a better one."""
        from allauth.mfa.models import Authenticator

        return f"Passkey {Authenticator.objects.filter(user_id=user.pk, type=type).count() + 1}"
