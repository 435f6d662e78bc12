"""Times a large sheet on its way in and out again; everything is rolled back."""

import csv
import io
import random
import resource
import time
from datetime import date, timedelta

from django.core.management.base import BaseCommand
from django.db import transaction

from herds.actions.sheets import Sheet, keep_preview, write
from herds.importing.undoing import take_out, what_touched
from herds.models import Breed, ImportBatch

HEADERS = ("Register No", "Breeder", "Ear no", "Name", "Sex", "Born", "Sire", "Dam", "Weight kg", "Notes")


def invented_sheet(rows, seed=1):
    """A register of so many invented animals of forty breeders, ten generations, in no order: bytes of a CSV."""
    chance = random.Random(seed)  # noqa: S311 - invented data
    table, bucks, does = [], [], []
    for number in range(rows):
        generation = number * 10 // rows
        buck = chance.random() < 0.5
        born = date(2010, 1, 1) + timedelta(days=generation * 400 + chance.randrange(120))
        old_bucks = [each for each in bucks[-400:] if each[1] < generation] if generation else []
        old_does = [each for each in does[-400:] if each[1] < generation] if generation else []
        sire = chance.choice(old_bucks)[0] if old_bucks else ""
        dam = chance.choice(old_does)[0] if old_does else ""
        if generation and not (sire and dam):
            sire, dam = bucks[0][0], does[0][0]
        registered = f"T{number:06d}"
        (bucks if buck else does).append((registered, generation))
        table.append(
            (registered, f"Breeder {number % 40}", number // 40 + 1, f"Animal {number}", "1,0" if buck else "0,1",
             born.strftime("%d.%m.%Y"), sire, dam, f"{chance.uniform(4, 5.4):.2f}".replace(".", ","), "")
        )  # fmt: skip
    chance.shuffle(table)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=";")
    writer.writerow(HEADERS)
    writer.writerows(table)
    return text.getvalue().encode("cp1252")


class Command(BaseCommand):
    help = "Time a large invented sheet: reading, planning, preview, writing, taking back. Nothing is kept."

    def add_arguments(self, parser):
        parser.add_argument("--rows", type=int, default=50_000)

    def handle(self, *, rows, verbosity, **options):
        self.verbose = verbosity > 1
        data = invented_sheet(rows)
        self.stdout.write(f"{rows:,} rows, {len(data) / 1e6:.1f} MB")
        with transaction.atomic():
            breed = Breed.objects.order_by("pk").first() or Breed.objects.create(name="Invented", slug="invented")
            start = begun = time.perf_counter()
            sheet = Sheet(data, herd=None, by=None, settings={"breed": breed.pk})
            start = self._tell("read, match and plan", start)
            batch = ImportBatch.objects.create(name="invented.csv", state="writing")
            keep_preview(batch, sheet)
            start = self._tell("keep the preview", start)
            write(sheet, batch, self._step)
            start = self._tell("write", start)
            self._tell("all of it", begun)
            self.stdout.write(str(sheet.counts()))
            again = Sheet(data, herd=None, by=None, settings={"breed": breed.pk})
            start = self._tell("plan the same sheet again", start)
            self.stdout.write(str(again.counts()))
            touched = what_touched(batch)
            take_out(batch)
            self._tell("take it back", start)
            self.stdout.write(f"touched: {touched}")
            transaction.set_rollback(True)

    def _step(self, step, done=0, total=0):
        if self.verbose:
            self.stdout.write(f"  {time.perf_counter():.1f}: {step} {done}/{total}")

    def _tell(self, what, since):
        now = time.perf_counter()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        self.stdout.write(f"{what}: {now - since:.1f} s (peak {peak:.0f} MB)")
        return now
