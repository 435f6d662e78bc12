"""The registry for research: everybody's names, marks and prefixes replaced, and only what owners share with the club.

People, herds, animals, litters and looks get numbers in a random order that is new in each export, so that two exports
cannot be joined. Names, marks, notes and every free text stay out; days stay, since ages need them.
"""

import csv
import io
import secrets
import zipfile

from django.db.models import Q
from django.utils import timezone

from clubsite.members.models import Club, Member
from grading.models import Answer, Look, LookFinding
from herds.models import Animal, Herd, Litter, Weight

CHUNK = 5000
ABOUT = """The herd registry of a breed club, for research. Taken out on {day}.
{invented}
Names of people, herds and animals, marks, prefixes and free texts were replaced or left out. P, H, R, L and K stand for
people, herds, rabbits, litters and looks; the numbers are new in each export. Looks, litters and weights are those of
herds that share them with the club. Grams; days as year-month-day; steps as graded ('cannot tell' is no number).

Whoever gets this file may not try to find out who is who. A club of few herds can be recognised all the same: give it
to people you trust, for a purpose the members know.
"""


class Codes:
    """Numbers in a random order for the keys of one kind."""

    def __init__(self, letter, keys):
        keys = list(keys)
        secrets.SystemRandom().shuffle(keys)
        self.letter, self.place = letter, {key: number for number, key in enumerate(keys, 1)}

    def __call__(self, key):
        return f"{self.letter}{self.place[key]}" if key in self.place else ""


class Outlet(io.RawIOBase):
    """Takes what zipfile writes and gives it on in pieces, so that no whole file stands anywhere."""

    def __init__(self):
        self.pieces = []

    def writable(self):
        return True

    def write(self, data):
        self.pieces.append(bytes(data))
        return len(data)

    def taken(self):
        found, self.pieces = b"".join(self.pieces), []
        return found


def research_zip():
    """Yields the bytes of a ZIP of CSV files."""
    codes = {
        "person": Codes("P", Member.objects.values_list("pk", flat=True)),
        "herd": Codes("H", Herd.objects.values_list("pk", flat=True)),
        "animal": Codes("R", Animal.objects.values_list("pk", flat=True)),
        "litter": Codes("L", Litter.objects.values_list("pk", flat=True)),
        "look": Codes("K", shared_looks().values_list("pk", flat=True)),
    }
    outlet = Outlet()
    club = Club.current()
    with zipfile.ZipFile(outlet, "w", zipfile.ZIP_DEFLATED) as archive:
        invented = "\nThis is a demonstration: the club is invented.\n" if club.is_demo else ""
        archive.writestr("README.txt", ABOUT.format(day=timezone.localdate().isoformat(), invented=invented))
        for name, heads, rows in TABLES:
            with archive.open(f"{name}.csv", "w", force_zip64=True) as raw:
                text = io.TextIOWrapper(raw, encoding="utf-8", newline="", write_through=True)
                writer = csv.writer(text)
                writer.writerow(heads)
                for number, row in enumerate(rows(codes), 1):
                    writer.writerow(["" if cell is None else cell for cell in row])
                    if number % CHUNK == 0:
                        yield outlet.taken()
                text.detach()
            yield outlet.taken()
    yield outlet.taken()


def shared_looks():
    return Look.objects.current().filter(
        Q(herd__shares_looks=True) | Q(herd__isnull=True, animal__herd__shares_looks=True)
    )


def animals(codes):
    fields = (
        "pk",
        "breed__slug",
        "sex",
        "born_on",
        "sire_id",
        "dam_id",
        "litter_id",
        "bred_in_id",
        "herd_id",
        "imported",
    )
    for pk, breed, sex, born, sire, dam, litter, bred_in, herd, imported in _rows(Animal.objects.all(), fields):
        code = codes["animal"]
        yield (
            code(pk), breed, sex, born, code(sire), code(dam), codes["litter"](litter), codes["herd"](bred_in),
            codes["herd"](herd), int(imported),
        )  # fmt: skip


def litters(codes):
    fields = ("pk", "herd_id", "dam_id", "sire_id", "born_on", "born_alive", "born_dead")
    for pk, herd, dam, sire, born, alive, dead in _rows(Litter.objects.filter(herd__shares_litters=True), fields):
        code = codes["animal"]
        yield codes["litter"](pk), codes["herd"](herd), code(dam), code(sire), born, alive, dead


def weights(codes):
    shared = Weight.objects.filter(herd__shares_weights=True, animal__isnull=False)
    for herd, animal, on, grams in _rows(shared, ("herd_id", "animal_id", "on", "grams")):
        yield codes["herd"](herd), codes["animal"](animal), on, grams


def looks(codes):
    fields = (
        "pk", "animal_id", "observer_id", "herd_id", "observed_on", "mode", "role", "trained", "light", "age_days",
        "age_class__code", "coat_stage", "provisional", "grams", "surface", "undercolor", "reach",
    )  # fmt: skip
    for pk, animal, observer, herd, *rest in _rows(shared_looks(), fields):
        yield (
            codes["look"](pk),
            codes["animal"](animal),
            codes["person"](observer),
            codes["herd"](herd),
            *map(_plain, rest),
        )


def answers(codes):
    rows = Answer.objects.filter(look__in=shared_looks().values("pk"))
    for look, trait, site, step, cannot in _rows(rows, ("look_id", "trait__code", "site", "step", "cannot_tell")):
        yield codes["look"](look), trait, site, "cannot tell" if cannot else step


def findings(codes):
    rows = LookFinding.objects.filter(look__in=shared_looks().values("pk"))
    for look, kind, state in _rows(rows, ("look_id", "kind__code", "state")):
        yield codes["look"](look), kind, state


def _rows(queryset, fields):
    return queryset.order_by("pk").values_list(*fields).iterator(chunk_size=CHUNK)


def _plain(value):
    return int(value) if isinstance(value, bool) else value


TABLES = (
    ("animals", (
        "animal", "breed", "sex", "born", "sire", "dam", "litter", "bred in", "herd", "came from abroad"), animals),
    ("litters", ("litter", "herd", "dam", "sire", "born", "alive", "dead"), litters),
    ("weights", ("herd", "animal", "day", "grams"), weights),
    ("looks", (
        "look", "animal", "observer", "herd", "day", "mode", "part", "trained", "light", "age in days", "age class",
        "coat stage", "provisional", "grams", "surface shade", "undercolor", "undercolor reach"), looks),
    ("answers", ("look", "trait", "place", "step"), answers),
    ("findings", ("look", "finding", "state"), findings),
)  # fmt: skip
