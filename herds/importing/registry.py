"""What the registry already knows of the animals that a sheet names: few queries, whatever its length."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection
from django.db.models import Q

from herds.models import Animal, Breed, Herd, Mark, MarkKind, Weight
from herds.sheets.cells import key, plain

CHUNK = 10_000
SHOWN = 8  # candidates of one name that are fetched from the whole registry
FIELDS = (
    "pk", "herd_id", "bred_in_id", "breeder_name", "breed_id", "name", "sex", "variety", "born_on", "sire_id", "dam_id",
    "litter_id", "mark_text", "status", "notes", "logged_by_id", "logged_at", "version",
)  # fmt: skip


@dataclass(slots=True, eq=False)
class Known:
    """An animal of the registry."""

    pk: int
    herd_id: int | None
    bred_in_id: int | None
    breeder_name: str
    breed_id: int
    name: str
    sex: str
    variety: str
    born_on: date | None
    sire_id: int | None
    dam_id: int | None
    litter_id: int | None
    mark_text: str
    status: str
    notes: str
    logged_by_id: int | None
    logged_at: datetime
    version: int

    @property
    def issuer(self):
        return issuer_of(self.bred_in_id, self.breeder_name)

    def __str__(self):
        return " ".join(word for word in (self.mark_text, self.name) if word) or f"animal {self.pk}"


def issuer_of(herd_id, name):
    """Within what a left-ear mark is unique: a herd of the club, or an outside breeder by name."""
    return ("herd", herd_id) if herd_id else ("name", plain(name))


class Herds:
    """The herds of the club by what people call them: name, prefix, or an owner with one herd only."""

    def __init__(self):
        self.by_pk, self.prefixes, owned = {}, {}, defaultdict(set)
        self.called: dict[str, int] = {}
        for herd in Herd.objects.with_owners():
            self.by_pk[herd.pk] = herd
            if herd.prefix:
                self.prefixes[herd.pk] = key(herd.prefix)
            for owner in herd.owner_names:
                owned[plain(owner)].add(herd.pk)
        for owner, herds in owned.items():
            if len(herds) == 1:
                self.called[owner] = next(iter(herds))
        for herd in self.by_pk.values():
            for word in (herd.slug, herd.prefix, herd.name):
                if plain(word):
                    self.called[plain(word)] = herd.pk
        self.called.pop("", None)

    def find(self, text):
        return self.called.get(plain(text or ""))


class Registry:
    """Animals of the registry, by marks within their issuer, by names within herds and breeders, by numbers."""

    def __init__(self):
        self.known: dict[int, Known] = {}
        self.by_left = defaultdict(set)  # (issuer, key)
        self.by_number = defaultdict(set)  # (kind, key)
        self.by_name = defaultdict(set)  # (issuer or ("herd", pk) where it stands, key)
        self.marks = defaultdict(dict)  # pk: {kind: text}
        self.weights = defaultdict(dict)  # pk: {day: (pk, grams, note)}

    def load(self, *, marks, numbers, names, issuers):
        """Fetch what the sheet may mean: left-ear marks and names within these issuers, numbers anywhere."""
        herds = [which for sort, which in issuers if sort == "herd"]
        outside = [which for sort, which in issuers if sort == "name"]
        found = set()
        for keys in chunks(marks):
            rows = Mark.objects.current().filter(key__in=keys, kind=MarkKind.LEFT_EAR)
            rows = rows.filter(Q(issued_by__in=herds) | Q(animal__herd__in=herds) | Q(issued_by__isnull=True))
            for pk, mark, issued_by, issuer in rows.values_list("animal", "key", "issued_by", "issuer_name"):
                issuer = issuer_of(issued_by, issuer)
                if issuer[0] == "herd" or issuer[1] in outside:
                    self.by_left[issuer, mark].add(pk)
                    found.add(pk)
        for keys in chunks(numbers):
            rows = Mark.objects.current().filter(key__in=keys, kind__in=(MarkKind.REGISTRATION, MarkKind.RING))
            for pk, mark, kind in rows.values_list("animal", "key", "kind"):
                self.by_number[kind, mark].add(pk)
                found.add(pk)
        found |= self._named(names, herds)
        self.fetch(found)
        for pk in found:
            known = self.known[pk]
            name = key(known.name)
            if name:
                self.by_name[known.issuer, name].add(pk)
                if known.herd_id:
                    self.by_name[("herd", known.herd_id), name].add(pk)

    def _named(self, names, herds):
        found = set()
        for keys in chunks(names):
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT a.id FROM herds_animal a WHERE upper(replace(replace(a.name, ' ', ''), '-', '')) = ANY(%s) "
                    "AND (a.herd_id = ANY(%s) OR a.bred_in_id = ANY(%s) OR a.bred_in_id IS NULL)",
                    [keys, herds, herds],
                )
                found.update(pk for (pk,) in cursor.fetchall())
        return found

    def fetch(self, pks):
        """Fetch these animals, those not known yet."""
        for some in chunks([pk for pk in pks if pk and pk not in self.known]):
            for row in Animal.objects.filter(pk__in=some).values_list(*FIELDS):
                self.known[row[0]] = Known(*row)

    def fetch_details(self, pks):
        """Fetch current marks and weights of these animals."""
        for some in chunks(list(pks)):
            for pk, kind, text in Mark.objects.current().filter(animal__in=some).values_list("animal", "kind", "text"):
                self.marks[pk][kind] = text
            rows = Weight.objects.filter(animal__in=some).values_list("animal", "on", "pk", "grams", "note")
            for pk, on, weight, grams, note in rows:
                self.weights[pk][on] = (weight, grams, note)

    def elsewhere(self, texts, herds):
        """{key: pks} of animals anywhere in the registry that are called so: by any mark, name, or prefix and name."""
        found = defaultdict(set)
        keys = sorted({key(text) for text in texts if key(text)})
        queries = (
            "SELECT k, m.animal_id FROM unnest(%s::text[]) k CROSS JOIN LATERAL "
            f"(SELECT animal_id FROM herds_mark WHERE key = k LIMIT {SHOWN}) m",
            "SELECT k, a.id FROM unnest(%s::text[]) k CROSS JOIN LATERAL (SELECT id FROM herds_animal "
            f"WHERE upper(replace(replace(name, ' ', ''), '-', '')) = k LIMIT {SHOWN}) a",
        )
        for some in chunks(keys):
            for query in queries:
                with connection.cursor() as cursor:
                    cursor.execute(query, [some])
                    for text, pk in cursor.fetchall():
                        found[text].add(pk)
        self._with_prefix(keys, herds, found)
        self._mark_and_name(keys, found)
        self.fetch({pk for pks in found.values() for pk in pks})
        return found

    def _with_prefix(self, keys, herds, found):
        pairs = [
            (text, herd, text[len(prefix) :])
            for text in keys
            for herd, prefix in herds.prefixes.items()
            if text.startswith(prefix) and len(text) > len(prefix)
        ]
        for some in chunks(pairs):
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT t, a.id FROM unnest(%s::text[], %s::bigint[], %s::text[]) AS w(t, h, r) "
                    "JOIN herds_animal a "
                    "ON a.bred_in_id = w.h AND (upper(replace(replace(a.name, ' ', ''), '-', '')) = w.r OR EXISTS "
                    "(SELECT 1 FROM herds_mark m WHERE m.animal_id = a.id AND m.key = w.r))",
                    [list(column) for column in zip(*some, strict=True)],
                )
                for text, pk in cursor.fetchall():
                    found[text].add(pk)

    def _mark_and_name(self, keys, found):
        pairs = [(text, text[:at]) for text in keys if text not in found for at in range(1, len(text))]
        for some in chunks(pairs):
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT t, a.id FROM unnest(%s::text[], %s::text[]) AS w(t, head) "
                    "JOIN herds_mark m ON m.key = w.head "
                    "JOIN herds_animal a ON a.id = m.animal_id WHERE a.name <> '' AND m.replaced_on IS NULL AND "
                    "w.head || upper(replace(replace(a.name, ' ', ''), '-', '')) = w.t",
                    [list(column) for column in zip(*some, strict=True)],
                )
                for text, pk in cursor.fetchall():
                    found[text].add(pk)

    def ancestors(self, pks):
        """{pk: (sire, dam)} of these animals and all above them."""
        with connection.cursor() as cursor:
            cursor.execute(
                "WITH RECURSIVE up(id) AS (SELECT unnest(%s::bigint[]) UNION SELECT p FROM up JOIN herds_animal a "
                "ON a.id = up.id CROSS JOIN LATERAL (VALUES (a.sire_id), (a.dam_id)) AS v(p) WHERE p IS NOT NULL) "
                "SELECT a.id, a.sire_id, a.dam_id FROM herds_animal a JOIN up ON up.id = a.id",
                [list(pks)],
            )
            return {pk: (sire, dam) for pk, sire, dam in cursor.fetchall()}


def chunks(things):
    things = list(things)
    for start in range(0, len(things), CHUNK):
        yield things[start : start + CHUNK]


def breeds_by_word():
    """{plain name or slug: key} of the club's breeds."""
    return {word: breed.pk for breed in Breed.objects.all() for word in (plain(breed.name), plain(breed.slug))}
