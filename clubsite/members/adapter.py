from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter

from .models import Club


class AccountAdapter(DefaultAccountAdapter):
    """People enter the club by invitation only; what goes wrong at sign-in is said in our words."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": "This address and this password do not go together. Check both, and try again.",
        "too_many_login_attempts": "Too many wrong tries. Wait five minutes, then try again.",
        "incorrect_password": "This is not your password. Try again.",
        "enter_current_password": "This is not your present password. Try again.",
        "account_inactive": "This account is shut. Ask an officer of the club.",
        "email_taken": "Another member uses this address.",
        "same_as_current": "This is the address you have already.",
        "rate_limited": "Too many tries. Wait five minutes, then try again.",
    }

    def is_open_for_signup(self, request):
        return False


class SecondFactorAdapter(DefaultMFAAdapter):
    """Authenticator apps and passkeys show the club's name."""

    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": "This code is not right, or was used already. Take the one that the app shows now.",
        "add_email_blocked": (
            "While you have a second step, the address cannot change. Remove the second step, change the address, "
            "and set the second step up again."
        ),
        "unverified_email": "Confirm your e-mail address first, then set up a second step.",
    }

    def get_totp_issuer(self):
        return Club.current().name

    def get_public_key_credential_rp_entity(self):
        return {**super().get_public_key_credential_rp_entity(), "name": Club.current().name}

    def generate_authenticator_name(self, user, type):
        """A name to begin with; the member may give a better one."""
        from allauth.mfa.models import Authenticator

        return f"Passkey {Authenticator.objects.filter(user_id=user.pk, type=type).count() + 1}"
