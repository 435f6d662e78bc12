"""Turns the looks and parents of a breed into the arrays of grading.evaluation. Nothing else reads rows for a run."""

import hashlib
from dataclasses import dataclass

import numpy as np
from django.db import connection

from grading.evaluation import Pedigree, Records
from grading.models import CoatStage, Mode
from pedigrees import load

QUARTER_DAYS = 365.25 / 4
OLDEST_QUARTER = 32  # eight years and more are one level: hardly any are that old
EFFECTS = ("grader and year", "mode", "age", "coat stage", "half-year")
COATS = {stage: place for place, stage in enumerate(CoatStage.values)}
MODES = {mode: place for place, mode in enumerate(Mode.values)}

LOOKS = """
    SELECT l.id, l.animal_id, l.observer_id, l.herd_id, l.observed_on, l.age_days, l.coat_stage, l.mode,
           l.age_class_id
    FROM grading_look l JOIN herds_animal a ON a.id = l.animal_id
    WHERE l.current AND a.breed_id = %s ORDER BY l.id
"""
STEPS = """
    SELECT n.look_id, avg(n.step)::float8 FROM grading_answer n
    JOIN grading_look l ON l.id = n.look_id JOIN herds_animal a ON a.id = l.animal_id
    WHERE l.current AND a.breed_id = %s AND n.trait_id = %s AND n.step IS NOT NULL
    GROUP BY n.look_id ORDER BY n.look_id
"""
# Kits of one litter are known by its row, or else by parents and day of birth.
ANIMALS = """
    SELECT id, coalesce(litter_id, 0), coalesce(extract(year FROM born_on)::int, -1),
           coalesce(born_on - date '1970-01-01', 0), breed_id
    FROM herds_animal ORDER BY id
"""


@dataclass(frozen=True, eq=False)
class Looks:
    """All current looks of a breed as columns, and the pedigree of the whole registry that they stand in.

    look, animal (row of the pedigree), observer, herd (-1 unknown) : (r,) int. fixed : name -> (r,) int codes, -1 not
    known. levels : name -> {code: key as text}. ids : (n,) animal keys by row. born : (n,) year of birth, -1 unknown.
    litter : (n,) code of the birth litter, -1 unknown. of_breed : (n,) bool. year : (r,) in which the look was given.
    cell : (r,) code of age class, coat stage and mode together, as 'like for like' compares.
    """

    look: np.ndarray
    animal: np.ndarray
    observer: np.ndarray
    herd: np.ndarray
    fixed: dict
    levels: dict
    pedigree: Pedigree
    ids: np.ndarray
    born: np.ndarray
    litter: np.ndarray
    of_breed: np.ndarray
    year: np.ndarray
    cell: np.ndarray

    def __len__(self):
        return len(self.look)

    def records(self, value):
        """Records of one trait: value (r,), NaN where it was not told."""
        return Records(self.animal, value, self.fixed, litter=self.litter[self.animal])


def read_looks(breed_id):
    """Looks of a breed. Three queries. Raises load.PedigreeProblem, which names animals."""
    registry = load.whole_registry()
    with load.by_name(registry):
        pedigree = Pedigree(registry.sire, registry.dam)
    with connection.cursor() as cursor:
        cursor.execute(ANIMALS)
        animals = np.array(cursor.fetchall(), dtype=np.int64).reshape(-1, 5)
        cursor.execute(LOOKS, [breed_id])
        rows = cursor.fetchall()
    animals = animals[np.isin(animals[:, 0], registry.ids)]  # one logged in between waits for the next run
    look, animal, observer, herd = (
        np.array([row[place] if row[place] is not None else -1 for row in rows], dtype=np.int64) for place in range(4)
    )
    days = [row[4] for row in rows]
    year = np.array([day.year for day in days], dtype=np.int64)
    half = year * 2 + np.array([day.month > 6 for day in days], dtype=np.int64)
    age = np.array(
        [-1 if row[5] is None else min(int(row[5] / QUARTER_DAYS), OLDEST_QUARTER) for row in rows], dtype=np.int64
    )
    coat = np.array([COATS.get(row[6], -1) for row in rows], dtype=np.int64)
    mode = np.array([MODES[row[7]] for row in rows], dtype=np.int64)
    age_class = np.array([row[8] or 0 for row in rows], dtype=np.int64)
    cell, _ = _numbered((age_class * 100 + coat + 1) * 100 + mode)
    grader_year, grader_levels = _numbered(observer * 10_000 + year)
    half_code, half_levels = _numbered(half)
    return Looks(
        look,
        registry.rows_of(animal.tolist()),
        observer,
        herd,
        dict(zip(EFFECTS, (grader_year, mode, age, coat, half_code), strict=True)),
        {
            "grader and year": {code: f"{key // 10_000}:{key % 10_000}" for code, key in grader_levels.items()},
            "mode": {place: name for name, place in MODES.items()},
            "age": {code: str(code) for code in range(-1, OLDEST_QUARTER + 1)},
            "coat stage": {place: name for name, place in COATS.items()} | {-1: ""},
            "half-year": {code: f"{key // 2}:{key % 2 + 1}" for code, key in half_levels.items()},
        },
        pedigree,
        registry.ids,
        animals[:, 2],
        _litters(registry, animals),
        animals[:, 4] == breed_id,
        year,
        cell,
    )


def _numbered(keys):
    """Codes 0, 1, ... of keys (r,), and the key of each code."""
    level, code = np.unique(keys, return_inverse=True)
    return code.astype(np.int64), dict(enumerate(level.tolist()))


def _litters(registry, animals):
    """(n,) code of each animal's birth litter: its row, else its parents and day; -1 where a parent is not known."""
    known = (registry.sire >= 0) & (registry.dam >= 0)
    rows = animals[:, 1]
    key = np.stack([np.where(rows > 0, rows, -1), registry.sire, registry.dam, animals[:, 3]], axis=1)
    key[rows > 0, 1:] = 0
    told = (rows > 0) | (known & (animals[:, 3] != 0))
    code = np.full(len(key), -1, dtype=np.int64)
    if told.any():
        code[told] = np.unique(key[told], axis=0, return_inverse=True)[1].ravel()
    return code


def read_steps(looks, breed_id, trait_id):
    """(r,) the step of each look for a trait, places averaged; NaN where it was not told. One query."""
    with connection.cursor() as cursor:
        cursor.execute(STEPS, [breed_id, trait_id])
        rows = np.array(cursor.fetchall(), dtype=float).reshape(-1, 2)
    value = np.full(len(looks), np.nan)
    if len(looks) and len(rows):
        place = np.searchsorted(looks.look, rows[:, 0].astype(np.int64))
        place = np.minimum(place, len(looks) - 1)
        fits = looks.look[place] == rows[:, 0].astype(np.int64)
        value[place[fits]] = rows[fits, 1]
    return value


def digest(looks, values):
    """A digest of everything that goes into a run, so that the same rows are known again."""
    found = hashlib.sha256()
    for column in (looks.look, looks.animal, looks.ids, looks.pedigree.sire, looks.pedigree.dam, looks.litter):
        found.update(np.ascontiguousarray(column).tobytes())
    for name in EFFECTS:
        found.update(np.ascontiguousarray(looks.fixed[name]).tobytes())
    for trait in sorted(values):
        found.update(str(trait).encode() + values[trait].tobytes())
    return found.hexdigest()
