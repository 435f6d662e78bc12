from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email
from django.urls import reverse

from clubsite.members.actions.invitations import invite
from clubsite.members.models import Club, Member


class Command(BaseCommand):
    help = "Make a link that lets the first officer of an empty club in. It works once."

    def add_arguments(self, parser):
        parser.add_argument("email", help="The e-mail address that the officer will sign in with.")
        parser.add_argument("--name", default="", help="Their name; they can change it.")
        parser.add_argument("--force", action="store_true", help="Make the link though the club has an officer.")

    def handle(self, *, email, name, force, **options):
        if not force and Member.objects.filter(is_officer=True, is_active=True).exists():
            raise CommandError(
                "The club has an officer, who can invite more. Use --force only if no officer can sign in any more."
            )
        try:
            validate_email(email)
            invitation, token = invite(email=email, name=name, as_officer=True, by=None)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(
            f"Open this link to become officer of {Club.current()}. It works once, until "
            f"{invitation.expires_at:%d %B %Y}:\n\n  {settings.PUBLIC_URL}{reverse('invitation-accept', args=[token])}"
        )
