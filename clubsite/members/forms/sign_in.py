"""allauth's forms in our words; what they check stays theirs."""

from allauth.account import forms as account
from allauth.mfa.base import forms as second
from allauth.mfa.totp import forms as totp
from allauth.mfa.webauthn import forms as keys

HOW_TO_CHOOSE = "At least eight characters; a few words in a row are good. Not your name or e-mail address."


class OurWords:
    """Labels and help texts of `words`; no placeholder repeats a label."""

    words: dict[str, tuple[str, str]] = {}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            field.widget.attrs.pop("placeholder", None)
            if name in self.words:
                field.label, field.help_text = self.words[name]


NEW_PASSWORD = {"password1": ("New password", HOW_TO_CHOOSE), "password2": ("The same password again", "")}
CODE = {"code": ("Code", "Six digits of your app, or one of your recovery codes.")}


class LoginForm(OurWords, account.LoginForm):
    words = {"login": ("E-mail address", ""), "password": ("Password", "")}


class ChangePasswordForm(OurWords, account.ChangePasswordForm):
    words = {"oldpassword": ("Present password", ""), **NEW_PASSWORD}


class SetPasswordForm(OurWords, account.SetPasswordForm):
    words = NEW_PASSWORD


class ResetPasswordForm(OurWords, account.ResetPasswordForm):
    words = {"email": ("E-mail address", "")}


class ResetPasswordKeyForm(OurWords, account.ResetPasswordKeyForm):
    words = NEW_PASSWORD


class AddEmailForm(OurWords, account.AddEmailForm):
    words = {"email": ("New e-mail address", "A letter is sent there first; the old address works until you confirm.")}


class ReauthenticateForm(OurWords, account.ReauthenticateForm):
    words = {"password": ("Your password", "")}


class AuthenticateForm(OurWords, second.AuthenticateForm):
    words = CODE


class ReauthenticateByCodeForm(OurWords, second.ReauthenticateForm):
    words = CODE


class ActivateAppForm(OurWords, totp.ActivateTOTPForm):
    words = {"code": ("The six digits", "")}


class AddKeyForm(OurWords, keys.AddWebAuthnForm):
    words = {
        "name": ("Name of the key", "So that you can tell your keys apart: my phone, the barn tablet."),
        "passwordless": (
            "Use it in place of the password",
            "A passkey: your device must ask for your finger, face or screen lock.",
        ),
    }


class EditKeyForm(OurWords, keys.EditWebAuthnForm):
    words = {"name": ("Name of the key", "")}
