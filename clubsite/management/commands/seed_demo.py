import os
import secrets

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.dateparse import parse_date

from clubsite.members.models import Member
from fixtures.demo import build, calibration, evaluation, people, photos, reviews


class Command(BaseCommand):
    help = "Fill an empty registry with the invented demo club. Refuses when there are members already."

    def add_arguments(self, parser):
        parser.add_argument("--on", type=parse_date, help="Build the club as of this day (default today).")
        parser.add_argument("--seed", type=int, default=build.SEED)
        parser.add_argument("--no-photos", action="store_true", help="Leave out the drawn photographs.")

    def handle(self, *, on, seed, no_photos, **options):
        if Member.objects.exists():
            raise CommandError("This registry has members already, so the demo club was not loaded.")
        password = os.environ.get("ARGENTRY_DEMO_PASSWORD") or secrets.token_urlsafe(9)
        world = build.build(today=on or timezone.localdate(), password=password, seed=seed)
        if not no_photos:
            self.draw(world)
        evaluation.ask_for_first(world)
        self.stdout.write(f"Loaded an invented club, {people.CLUB_NAME}, with {build.counts()}.")
        self.stdout.write(f"Sign in with any of these invented accounts and the password {password}")
        for person in people.PEOPLE:
            self.stdout.write(f"  {person.email:<32} {person.name}{_office(person)}")

    def draw(self, world):
        self.say("Drawing the invented animals' photographs.")
        photos.make_step_pictures()
        photos.make_photos(world, report=self.say)
        reviews.make_drawings()
        calibration.make_calibration(world)

    def say(self, line):
        self.stdout.write(line)
        self.stdout.flush()


def _office(person):
    offices = [word for word in ("officer", "registrar", "mentor") if getattr(person, word)]
    return f", {' and '.join(offices)}" if offices else ""
