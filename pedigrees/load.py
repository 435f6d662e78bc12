"""Turns the registry's rows into the arrays of pedigrees.kinship, and its errors into sentences that name animals."""

from collections.abc import Iterable
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from django.db import connection

from herds.models import Animal
from herds.words import listed
from pedigrees import kinship
from pedigrees.models import Inbreeding

# Four columns that are never NULL make every binary row equally long, so that NumPy reads a million of them at once.
ROW = np.dtype(
    [("columns", ">i2")]
    + [part for name in ("id", "sire", "dam") for part in ((f"{name} bytes", ">i4"), (name, ">i8"))]
    + [("f bytes", ">i4"), ("f", ">f8")]
)
HEADER, TRAILER = 19, 2

COLUMNS = """
    SELECT kin.id, coalesce(kin.sire_id, -1), coalesce(kin.dam_id, -1), coalesce({f}, 'NaN'::float8)
    FROM {kin} ORDER BY kin.id
"""
OWN_FIGURE = "(SELECT value FROM pedigrees_inbreeding WHERE animal_id = kin.id)"
EVERYBODY = "herds_animal kin LEFT JOIN pedigrees_inbreeding f ON f.animal_id = kin.id"
# The parents are carried along, since a second look at the table makes PostgreSQL read the whole of it.
ANCESTORS = """(
    WITH RECURSIVE up AS (
        SELECT id, sire_id, dam_id FROM herds_animal WHERE id = ANY ('{{{start}}}'::bigint[])
        UNION
        SELECT a.id, a.sire_id, a.dam_id FROM up
        CROSS JOIN LATERAL (VALUES (up.sire_id), (up.dam_id)) AS parent(id) JOIN herds_animal a ON a.id = parent.id)
    SELECT * FROM up) kin
"""
GENERATIONS_UP = """(
    WITH RECURSIVE up AS (
        SELECT id, sire_id, dam_id, 0 AS generation FROM herds_animal WHERE id = ANY ('{{{start}}}'::bigint[])
        UNION
        SELECT a.id, a.sire_id, a.dam_id, generation + 1 FROM up
        CROSS JOIN LATERAL (VALUES (up.sire_id), (up.dam_id)) AS parent(id) JOIN herds_animal a ON a.id = parent.id
        WHERE generation < {generations})
    SELECT DISTINCT id, sire_id, dam_id FROM up) kin
"""
GENERATIONS_DOWN = """(
    WITH RECURSIVE down AS (
        SELECT id, sire_id, dam_id, 0 AS generation FROM herds_animal WHERE id = ANY ('{{{start}}}'::bigint[])
        UNION
        SELECT young.id, young.sire_id, young.dam_id, generation + 1 FROM down CROSS JOIN LATERAL (
            SELECT id, sire_id, dam_id FROM herds_animal WHERE sire_id = down.id
            UNION ALL SELECT id, sire_id, dam_id FROM herds_animal WHERE dam_id = down.id) AS young
        WHERE generation < {generations})
    SELECT DISTINCT id, sire_id, dam_id FROM down) kin
"""


class PedigreeProblem(ValueError):
    """What is wrong with the recorded parents, as a sentence that names the animals; `animals` holds their keys."""

    def __init__(self, message, animals=()):
        super().__init__(message)
        self.animals = tuple(animals)


@dataclass(frozen=True)
class Pedigree:
    """Animals as rows: `ids` (n,) their keys, ascending; `sire`, `dam` (n,) rows of the parents, -1 if not in here.

    `f` (n,) is the stored inbreeding, NaN where it is being computed.
    """

    ids: np.ndarray
    sire: np.ndarray
    dam: np.ndarray
    f: np.ndarray

    def __len__(self):
        return len(self.ids)

    def rows_of(self, keys: Iterable[int]) -> np.ndarray:
        """The rows of these animals; -1 for one that is not in here."""
        keys = np.fromiter(keys, dtype=np.int64)
        if not len(self.ids):
            return np.full(len(keys), -1)
        place = np.minimum(np.searchsorted(self.ids, keys), len(self.ids) - 1)
        return np.where(self.ids[place] == keys, place, -1)

    def inbreeding(self) -> np.ndarray:
        """Everybody's inbreeding: the stored figures if all are current, else worked out now from these rows."""
        if not np.isnan(self.f).any():
            return self.f
        with by_name(self):
            return kinship.inbreeding(self.sire, self.dam)


def whole_registry() -> Pedigree:
    """All animals of the registry. One query."""
    return _read(EVERYBODY)


def ancestors_of(keys, generations: int | None = None) -> Pedigree:
    """One animal or several and their known ancestors, all or so many generations of them. One query.

    Without `generations` every figure is exact; cut off, the eldest generation seems to be unrelated founders.
    """
    return _read(ANCESTORS if generations is None else GENERATIONS_UP, keys, generations)


def descendants_of(keys, generations: int) -> Pedigree:
    """One animal or several and their progeny so many generations down; mates from elsewhere are -1. One query."""
    return _read(GENERATIONS_DOWN, keys, generations)


def inbreeding_of(keys) -> dict:
    """{key: inbreeding}, None where it is being computed at this moment. One query."""
    return dict(Inbreeding.objects.filter(animal__in=list(keys)).values_list("animal", "value"))


def coancestry_between(first, second) -> np.ndarray:
    """Coancestry of every animal in `first` with every one in `second`, shape (len(first), len(second)). One query.

    It is the inbreeding that the litter of the two would have, so an entry may be shown before the mating is made.
    """
    first, second = _keys(first), _keys(second)
    pedigree = ancestors_of([*first, *second])
    one, other = pedigree.rows_of(first), pedigree.rows_of(second)
    if (one < 0).any() or (other < 0).any():
        raise PedigreeProblem("One of these animals is not in the registry any more. Choose again.")
    turned = len(set(first)) > len(set(second))  # the work goes with the number of different animals on the first side
    if turned:
        one, other = other, one
    pairs = np.repeat(one, len(other)), np.tile(other, len(one))
    with by_name(pedigree):
        found = kinship.coancestry(pedigree.sire, pedigree.dam, *pairs, inbreeding=pedigree.inbreeding())
    table = found.reshape(len(one), len(other))
    return table.T if turned else table


@contextmanager
def by_name(pedigree):
    """Inside it a refusal by pedigrees.kinship becomes a PedigreeProblem that names the animals of `pedigree`."""
    try:
        yield
    except kinship.PedigreeError as error:
        raise _named(error, pedigree) from error


def _named(error, pedigree):
    keys = [int(pedigree.ids[row]) for row in error.rows]
    shown = keys[:8]
    known = Animal.objects.in_bulk(shown)
    names = [str(known.get(key, f"animal {key}")) for key in shown]
    more = f" and {len(keys) - len(shown)} more" if len(keys) > len(shown) else ""
    if isinstance(error, kinship.PedigreeLoop):
        chain = ", whose parent is ".join([*names[1:], "one of many more" if more else names[0]])
        said = f"{names[0]} is recorded as its own ancestor: its parent is {chain}."
        said += " The registrar has to change the sire or the dam of one of them."
    elif isinstance(error, kinship.BothRoles):
        said = f"{listed(names)}{more} stand as a sire in one place and as a dam in another."
        said = said.replace(" stand as", " stands as") if len(keys) == 1 else said
        said += " The registrar has to correct the sex or the parents."
    elif isinstance(error, kinship.SameParent):
        said = f"Sire and dam are one and the same animal at {listed(names)}{more}. Change one of them."
    else:
        said = str(error)
    return PedigreeProblem(said, keys)


def _keys(keys):
    return [int(key) for key in (keys if isinstance(keys, Iterable) else (keys,))]


def _read(kin, keys=(), generations=None):
    """The Pedigree of `kin`, one of the texts above; nothing but whole numbers is put into them."""
    start = ",".join(str(key) for key in _keys(keys))
    f = "f.value" if kin == EVERYBODY else OWN_FIGURE
    sql = COLUMNS.format(f=f, kin=kin.format(start=start, generations=int(generations or 0)))
    with connection.cursor() as cursor, cursor.copy(f"COPY ({sql}) TO STDOUT (FORMAT BINARY)") as copy:
        sent = b"".join(copy)
    rows = np.frombuffer(sent, dtype=ROW, offset=HEADER, count=(len(sent) - HEADER - TRAILER) // ROW.itemsize)
    ids = rows["id"].astype(np.int64)
    alone = Pedigree(ids, *(np.full(len(ids), -1, dtype=np.int64),) * 2, rows["f"].astype(np.float64))
    sire, dam = (alone.rows_of(rows[role].astype(np.int64)) for role in ("sire", "dam"))
    pedigree = Pedigree(ids, sire, dam, alone.f)
    with by_name(pedigree):
        kinship.refuse_both_roles(sire, dam)
    return pedigree
