"""What the plan is made of: a row of a sheet on its way into the registry, and parents that have no row."""

from dataclasses import dataclass

from herds.models import RowOutcome
from herds.sheets.cells import key
from herds.words import day_words, sex_word

from .registry import Known, issuer_of

LEFT_OUT = (RowOutcome.REFUSED, RowOutcome.ASKED)


class Node:
    """An animal's row. `existing` is the animal it was recognised as, `aside` one elsewhere that may be the same."""

    __slots__ = (
        "aside", "asks", "bred_in_id", "breed_id", "breeder_name", "changes", "dam", "existing", "herd_id", "litter",
        "marks", "new_marks", "notes", "outcome", "pk", "place", "record", "remarks", "set", "sire", "weight", "wrong",
    )  # fmt: skip

    def __init__(self, record):
        self.record, self.place = record, record.place
        self.herd_id = self.bred_in_id = self.breed_id = None
        self.breeder_name = ""
        self.existing = self.aside = self.sire = self.dam = self.litter = self.pk = self.weight = None
        self.wrong, self.remarks, self.asks = list(record.wrong), list(record.remarks), []
        self.changes, self.set, self.new_marks, self.marks = [], {}, [], {}
        self.notes = list(record["notes"] or ())
        self.outcome = None

    @property
    def issuer(self):
        return issuer_of(self.bred_in_id, self.breeder_name)

    @property
    def sex(self):
        said = self.record["sex"]
        if said and said != "unknown":
            return said
        return self.existing.sex if self.existing else "unknown"

    @property
    def born_on(self):
        return self.record["born"] or (self.existing.born_on if self.existing else None)

    @property
    def left_out(self):
        return self.outcome in LEFT_OUT

    def __str__(self):
        values = self.record.values
        mark = values.get("mark") or values.get("registration") or values.get("right_mark") or values.get("ring") or ""
        return " ".join(word for word in (mark, values.get("name") or "") if word) or f"row {self.record.number}"

    @property
    def where(self):
        sheet = f" of “{self.record.sheet}”" if self.record.sheet else ""
        return f"row {self.record.number}{sheet}"


class LitterNode:
    """A kindling's row."""

    __slots__ = (
        "asks", "changes", "dam", "existing", "herd_id", "kits", "mating", "outcome", "pk", "place", "record",
        "remarks", "sire", "wrong",
    )  # fmt: skip

    def __init__(self, record):
        self.record, self.place = record, record.place
        self.dam = self.sire = self.existing = self.mating = self.pk = self.herd_id = None
        self.wrong, self.remarks, self.asks = list(record.wrong), list(record.remarks), []
        self.changes, self.kits = [], []
        self.outcome = None

    @property
    def born_on(self):
        return self.record["kindled"]

    @property
    def left_out(self):
        return self.outcome in LEFT_OUT

    def __str__(self):
        doe = self.dam or " ".join((self.record["dam"] or ["a doe not named"])[:1])
        return f"litter of {doe}" + (f", {day_words(self.born_on)}" if self.born_on else "")


@dataclass
class Outsider:
    """A parent that is named but has no row and no card: entered as an animal outside the club when that is wanted."""

    text: str
    sex: str
    place: int
    breed_id: int | None = None
    pk: int | None = None
    existing = None
    born_on = None
    left_out = False

    @property
    def is_mark(self):
        return " " not in self.text and any(letter.isdigit() for letter in self.text) and len(self.text) <= 40

    @property
    def key(self):
        return (self.sex, key(self.text))

    def __str__(self):
        return self.text


def pk_of(entity):
    """The key of the animal that a row, a card or an outsider is or becomes."""
    if entity is None:
        return None
    if isinstance(entity, Known):
        return entity.pk
    return entity.existing.pk if entity.existing else entity.pk


def described(entity, herds):
    """What tells one candidate from another: where it stands in the sheet, its sex, birth and breeder."""
    if isinstance(entity, Node):
        born = f", born {day_words(entity.born_on)}" if entity.born_on else ""
        return f"{entity} ({entity.where}): {sex_word(entity.sex)}{born}"
    born = f", born {day_words(entity.born_on)}" if entity.born_on else ""
    herd = herds.by_pk.get(entity.bred_in_id)
    breeder = herd.name if herd else entity.breeder_name or "breeder unknown"
    return f"{entity} (in the registry): {sex_word(entity.sex)}{born}, {breeder}"
