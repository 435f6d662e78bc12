from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from django.urls import NoReverseMatch, reverse

from .models import Club


class AccountAdapter(DefaultAccountAdapter):
    """People enter the club by invitation only."""

    def is_open_for_signup(self, request):
        return False

    def get_login_redirect_url(self, request):
        try:
            return reverse("today")
        except NoReverseMatch:
            return reverse("club-public")


class SecondFactorAdapter(DefaultMFAAdapter):
    """Authenticator apps and passkeys show the club's name."""

    def _get_site_name(self):
        return Club.current().name

    def generate_authenticator_name(self, user, type):
        """A name to begin with; the member may give a better one."""
        from allauth.mfa.models import Authenticator

        return f"Passkey {Authenticator.objects.filter(user_id=user.pk, type=type).count() + 1}"
