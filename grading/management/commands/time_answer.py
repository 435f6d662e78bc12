"""How long the server takes to save one answer of a look, beside the bare SQL of the same write in the same run."""

from time import perf_counter, process_time

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import Member
from grading.actions.looks import REPLACE_OLDER, SAVE_ANSWERS, start_look
from grading.models import BreedProfile, Mode, Trait
from herds.models import Animal, Herd, Ownership


class Command(BaseCommand):
    help = (
        "Times saving one answer of a look: the whole request through the site, and the bare SQL. Works on an invented "
        "herd in a transaction that is rolled back, so nothing of it stays."
    )

    def add_arguments(self, parser):
        parser.add_argument("--times", type=int, default=500, help="How many answers to save (default 500).")

    def handle(self, *, times, **options):
        if times < 10:
            raise CommandError("Save at least 10 answers, else the percentiles say nothing.")
        with transaction.atomic():
            look, member = invented_look()
            whole, work = time_requests(look, member, times)
            bare = time_statements(look, times)
            transaction.set_rollback(True)
        self.stdout.write(f"{times} answers each, milliseconds: median, 95th and 99th percentile, longest.")
        for name, spent in (("the whole request", whole), ("its own processing", work), ("the bare SQL", bare)):
            self.stdout.write(f"{name:>18}: {words(spent)}")
        self.stdout.write("On a machine that has other work, the request also waits for a processor; its own does not.")


def invented_look():
    """An open look of an invented animal by an invented member."""
    profile = BreedProfile.objects.filter(published_at__isnull=False).first()
    if profile is None:
        raise CommandError("There is no published breed profile to grade by. Run migrate, which adds the shipped one.")
    member = Member.objects.create(email="timing@invented.example", name="Invented Timekeeper")
    herd = Herd.objects.create(name="Invented timing herd", slug="invented-timing-herd")
    Ownership.objects.create(herd=herd, member=member)
    animal = Animal.objects.create(herd=herd, breed=profile.breed, sex="doe", born_on=timezone.localdate())
    return start_look(animal=animal, mode=Mode.IN_HAND, light="open_shade", by=member), member


def time_requests(look, member, times):
    """Seconds of each request (session, permission, write, the scale drawn anew), by the clock and of processor time.

    The first ones, which load templates, are not counted.
    """
    client = Client(HTTP_HOST=settings.ALLOWED_HOSTS[0], HTTP_HX_REQUEST="true")
    client.force_login(member, backend=settings.AUTHENTICATION_BACKENDS[0])
    address = f"{reverse('look-answer', args=[look.pk])}?trait=surface_shade"
    whole, work = [], []
    for turn in range(-5, times):
        started, worked = perf_counter(), process_time()
        try:
            response = client.post(address, {"surface_shade": turn % 9 + 1}, secure=True)
        except ValueError as error:  # static files were never collected
            raise CommandError(f"The site is not ready to answer: {error}. Run collectstatic first.") from error
        if turn >= 0:
            whole.append(perf_counter() - started)
            work.append(process_time() - worked)
        if response.status_code != 200:
            raise CommandError(f"The site answered {response.status_code} instead of saving the answer.")
    return whole, work


def time_statements(look, times):
    """Seconds of each upsert alone, with the triggers that guard and sum up the answer."""
    sql = SAVE_ANSWERS.format(rows="(%s, %s, %s, %s, %s, now())", otherwise=REPLACE_OLDER)
    trait = Trait.objects.get(code="surface_shade")
    spent = []
    with connection.cursor() as cursor:
        for turn in range(-5, times):
            started = perf_counter()
            cursor.execute(sql, [look.pk, trait.pk, "", turn % 9 + 1, False])
            if turn >= 0:
                spent.append(perf_counter() - started)
    return spent


def words(spent):
    """'1.2, 2.3, 4.5, 6.7' in milliseconds."""
    ordered = sorted(spent)
    picked = [ordered[min(int(len(ordered) * share), len(ordered) - 1)] for share in (0.5, 0.95, 0.99, 1)]
    return ", ".join(f"{seconds * 1000:.1f}" for seconds in picked)
