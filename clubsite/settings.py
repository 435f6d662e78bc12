"""One settings file for every place the site runs; what differs comes from the environment, strictly read."""

import os
from pathlib import Path

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from clubsite.embedded import database_settings

BASE_DIR = Path(__file__).resolve().parent.parent


def env(name, default=None, *, allowed=()):
    """The environment's value for `name`; refuses what is not in `allowed`, so that a typing slip is loud."""
    value = os.environ.get(name, default)
    if value is None or (allowed and value not in allowed):
        wanted = " or ".join(allowed) if allowed else "a value"
        raise ImproperlyConfigured(f"{name} is {value!r}. Set it to {wanted}; .env.example shows how.")
    return value


def env_flag(name, default):
    """True for 'on', False for 'off'; nothing else is accepted."""
    return env(name, default, allowed=("on", "off")) == "on"


VAR = Path(env("ARGENTRY_VAR", str(BASE_DIR / "var")))
DEBUG = env_flag("ARGENTRY_DEBUG", "off")
PUBLIC_URL = env("ARGENTRY_PUBLIC_URL", "http://127.0.0.1:8000").rstrip("/")
BEHIND_HTTPS = PUBLIC_URL.startswith("https://")


def secret_key():
    """The key of the environment, else the one `start` keeps in the data folder, else one for this process."""
    if key := os.environ.get("ARGENTRY_SECRET_KEY"):
        return key
    kept = VAR / "secret_key"
    if kept.is_file():
        return kept.read_text().strip()
    from django.core.management.utils import get_random_secret_key

    return get_random_secret_key()


SECRET_KEY = secret_key()
ALLOWED_HOSTS = [host for host in env("ARGENTRY_HOSTS", "127.0.0.1,localhost,[::1]").split(",") if host]
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]

INSTALLED_APPS = [
    "grading",
    "pedigrees",
    "herds",
    "clubsite.members",
    "clubsite",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.postgres",
    "django.contrib.humanize",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "template_partials.apps.SimpleAppConfig",
    "csp",
    "pgtrigger",
    "django_tasks",
    "django_tasks_db",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "django.forms",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "clubsite.middleware.SmallPages",
    "csp.middleware.CSPMiddleware",
    "clubsite.middleware.PrivateAnswers",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "clubsite.spreadsheets.Workbooks",
    "allauth.account.middleware.AccountMiddleware",
    "allauth.usersessions.middleware.UserSessionsMiddleware",
    "clubsite.middleware.Remembering",
]

ROOT_URLCONF = "clubsite.urls"
WSGI_APPLICATION = "clubsite.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "clubsite.members.context.club",
            ],
            "builtins": ["template_partials.templatetags.partials", "django.templatetags.static"],
            "loaders": [
                (
                    "template_partials.loader.Loader",
                    [
                        (
                            "django.template.loaders.cached.Loader",
                            [
                                "django.template.loaders.filesystem.Loader",
                                "django.template.loaders.app_directories.Loader",
                            ],
                        )
                    ],
                )
            ],
        },
    }
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

DATABASES = {"default": database_settings()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "cache",
        "OPTIONS": {"MAX_ENTRIES": 5000},  # beyond that a third is dropped, club-wide figures included
    }
}
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": ["default", "photos", "evaluation"]}}

AUTH_USER_MODEL = "members.Member"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{validator}", "OPTIONS": options}
    for validator, options in (
        ("UserAttributeSimilarityValidator", {"user_attributes": ("name", "email")}),
        ("MinimumLengthValidator", {}),
        ("CommonPasswordValidator", {}),
    )
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "club-public"
ACCOUNT_ADAPTER = "clubsite.members.adapter.AccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "mandatory"
ACCOUNT_UNIQUE_EMAIL = True
ACCOUNT_CHANGE_EMAIL = True
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
ACCOUNT_FORMS = {
    name: f"clubsite.members.forms.sign_in.{form}"
    for name, form in {
        "login": "LoginForm",
        "add_email": "AddEmailForm",
        "change_email": "AddEmailForm",
        "change_password": "ChangePasswordForm",
        "set_password": "SetPasswordForm",
        "reset_password": "ResetPasswordForm",
        "reset_password_from_key": "ResetPasswordKeyForm",
        "reauthenticate": "ReauthenticateForm",
    }.items()
}
MFA_FORMS = {
    name: f"clubsite.members.forms.sign_in.{form}"
    for name, form in {
        "authenticate": "AuthenticateForm",
        "reauthenticate": "ReauthenticateByCodeForm",
        "activate_totp": "ActivateAppForm",
        "add_webauthn": "AddKeyForm",
        "edit_webauthn": "EditKeyForm",
    }.items()
}
MFA_ADAPTER = "clubsite.members.adapter.SecondFactorAdapter"
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_TOLERANCE = 1
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not BEHIND_HTTPS
# Behind the proxy that ends https, limits count the visitor's address, not the proxy's.
ALLAUTH_TRUSTED_PROXY_COUNT = 1 if BEHIND_HTTPS else 0
USERSESSIONS_TRACK_ACTIVITY = False

EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
EMAIL_FILE_PATH = str(VAR / "mail")
DEFAULT_FROM_EMAIL = env("ARGENTRY_MAIL_FROM", "club@localhost")
if os.environ.get("ARGENTRY_MAIL_HOST"):
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    EMAIL_HOST = env("ARGENTRY_MAIL_HOST")
    EMAIL_PORT = int(env("ARGENTRY_MAIL_PORT", "587"))
    EMAIL_HOST_USER = env("ARGENTRY_MAIL_USER", "")
    EMAIL_HOST_PASSWORD = env("ARGENTRY_MAIL_PASSWORD", "")
    EMAIL_USE_TLS = env_flag("ARGENTRY_MAIL_TLS", "on")

LANGUAGE_CODE = "en-gb"
TIME_ZONE = env("ARGENTRY_TIME_ZONE", "UTC")
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = VAR / "static"
STATICFILES_DIRS = [BASE_DIR / "static"]
MEDIA_ROOT = VAR / "media"
STORAGES = {
    "default": {"BACKEND": "clubsite.storage.WholeFileStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
PHOTO_MAX_BYTES = 40 * 1024 * 1024
PHOTO_MAX_PIXELS = 60_000_000
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
FILE_UPLOAD_TEMP_DIR = None

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "blob:"],
        "style-src": [SELF],
        "script-src": [SELF],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 60
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = BEHIND_HTTPS
CSRF_COOKIE_SAMESITE = "Lax"
if BEHIND_HTTPS:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    ACCOUNT_DEFAULT_HTTP_PROTOCOL = "https"

SILENCED_SYSTEM_CHECKS: list[str] = []

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": env("ARGENTRY_LOG_LEVEL", "WARNING")},
}
