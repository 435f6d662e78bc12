import os
import secrets

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from clubsite.members.models import Club, Member

INVENTED = ".example"  # RFC 2606: no address under it can ever be a person's


class Command(BaseCommand):
    help = "Set one new password for every account of the demo club, and list the accounts."

    def handle(self, **options):
        if not Club.current().is_demo:
            raise CommandError("This is not the demo club, so no password was changed.")
        password = os.environ.get("ARGENTRY_DEMO_PASSWORD") or secrets.token_urlsafe(9)
        members = set_demo_password(password=password)
        self.stdout.write(f"The password of all {len(members)} demo accounts (invented people) is now {password}")
        for member in members:
            self.stdout.write(f"  {member.email:<40} {member}{what_they_may(member)}")


@transaction.atomic
def set_demo_password(*, password):
    """Gives every invented member the password; people who joined the demo by invitation keep their own."""
    members = list(Member.objects.filter(email__endswith=INVENTED, is_active=True))
    for member in members:
        member.set_password(password)
    Member.objects.bulk_update(members, ["password"])
    return members


def what_they_may(member):
    offices = [word for word, held in (("officer", member.is_officer), ("registrar", member.is_registrar)) if held]
    return f", {' and '.join(offices)}" if offices else ""
