from allauth.account.forms import default_token_generator
from allauth.account.models import EmailAddress
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.urls import reverse

from clubsite.members.models import Member


class Command(BaseCommand):
    help = "Make the first officer of a club, who then invites everybody else; prints a link for choosing a password."

    def add_arguments(self, parser):
        parser.add_argument("email", help="The officer's e-mail address.")
        parser.add_argument("--name", default="", help="The officer's name; it can be changed on the site.")

    def handle(self, *, email, name, **options):
        officer = first_officer(email=email, name=name or email.split("@")[0])
        key = f"{user_pk_to_url_str(officer)}-{default_token_generator.make_token(officer)}"
        uid, token = key.split("-", 1)
        link = settings.PUBLIC_URL + reverse("account_reset_password_from_key", kwargs={"uidb36": uid, "key": token})
        days = settings.PASSWORD_RESET_TIMEOUT // 86400
        self.stdout.write(f"{officer.email} is an officer of the club. This link, good once and for {days} days,")
        self.stdout.write(f"lets them choose a password:\n  {link}")


@transaction.atomic
def first_officer(*, email, name):
    """The member of that address as officer, their address held for confirmed; refused when others hold the office."""
    other = Member.objects.filter(is_officer=True, is_active=True).exclude(email__iexact=email).first()
    if other is not None:
        raise CommandError(f"The club already has an officer, {other}. They can invite you and make you an officer.")
    officer = Member.objects.filter(email__iexact=email).first()
    try:
        if officer is None:
            officer = Member.objects.create_user(email=email, name=name, is_officer=True)
        else:
            officer.is_officer = officer.is_active = True
            officer.full_clean()
            officer.save(update_fields=["is_officer", "is_active"])
    except ValidationError as error:
        raise CommandError(" ".join(error.messages)) from None
    EmailAddress.objects.update_or_create(
        user=officer, email=officer.email, defaults={"verified": True, "primary": True}
    )
    return officer
