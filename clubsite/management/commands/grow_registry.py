import os
import secrets
import time

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.dateparse import parse_date

from clubsite.members.models import Club, Member
from fixtures.growing import grow, rules
from herds.models import Herd

FEWEST = 300


class Command(BaseCommand):
    help = (
        "Fill a registry with invented animals, to try the site at its size; everything in it is made up. Into an "
        "empty registry, or with --beside into a demo or trial one. The site waits while it runs; nothing takes the "
        "animals out again, so keep the data folder of a real club out of it."
    )

    def add_arguments(self, parser):
        parser.add_argument("--animals", type=int, default=100_000)
        parser.add_argument("--looks-per-animal", type=int, default=5)
        parser.add_argument("--seed", type=int, default=grow.SEED)
        parser.add_argument("--on", type=parse_date, help="Grow the registry as of this day (default today).")
        parser.add_argument("--beside", action="store_true", help="Add to the members and animals that are there.")
        parser.add_argument("--check", action="store_true", help="Ask afterwards whether every rule holds.")

    def handle(self, *, animals, looks_per_animal, seed, on, beside, check, **options):
        self.refuse(animals, looks_per_animal, beside)
        password = os.environ.get("ARGENTRY_DEMO_PASSWORD") or secrets.token_urlsafe(9)
        began, used = time.perf_counter(), time.process_time()
        counts = grow.grow(
            today=on or timezone.localdate(),
            count=animals,
            looks_each=looks_per_animal,
            seed=seed,
            password=password,
            write=self.say,
        )
        took, used = time.perf_counter() - began, time.process_time() - used
        held = ", ".join(f"{count:,} {model._meta.verbose_name_plural}" for model, count in counts.items())
        self.say(f"The registry holds {held}.")
        self.say(
            f"{took:.0f} seconds, of them {used:.0f} of this program's processor time; the database's come beside."
        )
        if check:
            self.check_rules()
        self.say(f"Officer: grown1@grown.example, a keeper: grown3@grown.example; the password of all is {password}")

    def refuse(self, animals, looks_per_animal, beside):
        if animals < FEWEST or not 0 <= looks_per_animal <= 20:
            raise CommandError(f"Grow at least {FEWEST} animals, with at most 20 looks each.")
        if Herd.objects.filter(slug="grown-1").exists():
            raise CommandError("A registry was grown here already. Choose another data folder with ARGENTRY_VAR.")
        if Member.objects.exists() and not beside:
            raise CommandError("There are members here already. Add --beside if this is a demo or a trial.")
        if beside and Member.objects.exists() and not Club.current().is_demo:
            raise CommandError("This is no demo club, so nothing invented was put into it.")

    def check_rules(self):
        broken = rules.broken()
        for name, count in broken.items():
            self.say(f"Broken: {name}, {count:,} rows.")
        if broken:
            raise CommandError("The grown registry breaks rules of the data.")
        self.say(f"All {len(rules.RULES) + 1} rules hold.")

    def say(self, line):
        self.stdout.write(line)
        self.stdout.flush()
