"""Letters of this app: short, with nothing of the registry in them."""

import logging
from smtplib import SMTPException

from django.conf import settings
from django.core.mail import send_mail
from django.template.loader import render_to_string

from .models import Club

log = logging.getLogger(__name__)


def send_letter(name, to, context):
    """Send the letter of the template `name`, whose first line is the subject; True when the post took it."""
    text = render_to_string(name, {"club": Club.current(), **context})
    subject, body = text.strip().split("\n", 1)
    try:
        send_mail(" ".join(subject.split()), body.strip() + "\n", settings.DEFAULT_FROM_EMAIL, [to])
    except (SMTPException, OSError):
        log.exception("The letter %s was not sent.", name)
        return False
    return True
