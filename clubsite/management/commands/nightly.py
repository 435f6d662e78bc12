from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from clubsite import nightly
from clubsite.models import NightlyRun


class Command(BaseCommand):
    help = "List the night's jobs and when each was last done; with names, do those now. Safe beside a running worker."

    def add_arguments(self, parser):
        parser.add_argument("names", nargs="*", metavar="NAME", help="A job to do now, or 'all'.")

    def handle(self, *, names, **options):
        chosen = list(nightly.JOBS) if "all" in names else names
        if unknown := [name for name in chosen if name not in nightly.JOBS]:
            known = ", ".join(job.name for job in nightly.in_order())
            raise CommandError(f"There is no nightly job called {unknown[0]}. There are: {known}.")
        for job in nightly.in_order():
            if job.name in chosen:
                self.stdout.write(f"{job.name}: {nightly.run(job, even_if_done=True)}")
        if not chosen:
            self.tell()

    def tell(self):
        rows = NightlyRun.objects.in_bulk()
        for job in nightly.in_order():
            self.stdout.write(f"{job.name}: {job.title}. {told(rows.get(job.name))}")


def told(row):
    """How a job's last run ended, in words."""
    if row is None or row.began_at is None:
        return "Not done yet."
    when = timezone.localtime(row.began_at).strftime("%d %b %Y %H:%M")
    if row.failed:
        return f"Failed on {when}: {row.outcome}"
    if row.ended_at is None:
        return f"Begun on {when}."
    return f"Done on {when}{f': {row.outcome}' if row.outcome else ''}."
