"""Figures of the whole club that no page works out while somebody waits: kept in the cache, and renewed by a job.

A small club's figures are worked out when a page asks, at most every ten minutes. Once the club holds LARGE looks, a
page that finds them old shows them all the same and has a job renew them; so does the night. Only the very first page
after the cache was emptied waits.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from django.core.cache import cache
from django.db import connection
from django.utils import timezone

LARGE = 20_000  # looks
FRESH_SECONDS = 600
ASKED_SECONDS = 120  # within that nobody queues the same job again
FOR_EVER = None


@dataclass(frozen=True)
class Kept:
    """A figure with the moment it was worked out, and how many looks are behind it."""

    at: float
    looks: int
    value: object

    @property
    def is_fresh(self):
        return timezone.now().timestamp() - self.at < FRESH_SECONDS


def kept(name, breed_id, work_out):
    """The figure `name` of a breed: `work_out(breed_id)` answers (looks behind it, value). One query when kept."""
    found = cache.get(_key(name, breed_id))
    if found is not None and (found.is_fresh or found.looks >= LARGE):
        if not found.is_fresh:
            renew_soon(name, breed_id)
        return found.value
    return renew(name, breed_id, work_out)


def renew(name, breed_id, work_out):
    """Work the figure out now and keep it; returns it."""
    looks, value = work_out(breed_id)
    cache.set(_key(name, breed_id), Kept(timezone.now().timestamp(), looks, value), FOR_EVER)
    return value


def renew_soon(name, breed_id):
    """Have a job renew the figure, unless one was asked to within the last minutes."""
    from grading.tasks import renew_standing

    if cache.add(f"asked-{_key(name, breed_id)}", True, ASKED_SECONDS):
        renew_standing.enqueue(name, breed_id)


def _key(name, breed_id):
    return f"standing-{name}-{breed_id}"


# --- sires -----------------------------------------------------------------------------------------------------------

MEASURES = ("surface", "undercolor", "reach", "surface_like", "undercolor_like", "reach_like")
PER_ANIMAL = """
    SELECT a.sire_id, coalesce(a.dam_id, -1), coalesce(a.herd_id, -1), count(*),
           avg(l.surface), avg(l.undercolor), avg(l.reach),
           avg(l.surface - cell.surface), avg(l.undercolor - cell.undercolor), avg(l.reach - cell.reach)
    FROM grading_look l
    JOIN herds_animal a ON a.id = l.animal_id
    LEFT JOIN grading_ageclass c ON c.id = l.age_class_id
    LEFT JOIN (SELECT * FROM unnest(%s::text[], %s::text[], %s::text[], %s::float8[], %s::float8[], %s::float8[]))
        AS cell (age, coat, mode, surface, undercolor, reach)
        ON cell.age = coalesce(c.code, '') AND cell.coat = l.coat_stage AND cell.mode = l.mode
    WHERE l.current AND a.breed_id = %s AND a.sire_id IS NOT NULL
    GROUP BY a.id
"""
PAIRS = """
    SELECT DISTINCT a.sire_id, coalesce(a.herd_id, -1), {column}
    FROM grading_look l JOIN herds_animal a ON a.id = l.animal_id
    WHERE l.current AND a.breed_id = %s AND a.sire_id IS NOT NULL AND {column} IS NOT NULL
"""


@dataclass(frozen=True)
class SireSums:
    """Sums over animals looked at, a row for each (sire, dam, herd where the animal stands), int64 (g,).

    n, total, square : float (g, 6), of each animal's mean of MEASURES; the last three are deviations from the cell.
    herds, graders : int64 (k, 3), (sire, herd where the animal stands, herd of the look or its observer).
    overall : means of all looks that the deviations are added to, (3,).
    """

    sire: np.ndarray
    dam: np.ndarray
    herd: np.ndarray
    looks: np.ndarray
    animals: np.ndarray
    n: np.ndarray
    total: np.ndarray
    square: np.ndarray
    herds: np.ndarray
    graders: np.ndarray
    overall: np.ndarray
    at: float


def read_sires(breed_id, cells):
    """SireSums of all current looks of a breed. Three queries."""
    keys = sorted({key for means in cells.means.values() for key in means})
    names = MEASURES[:3]
    params = [[key[i] for key in keys] for i in range(3)] + [[cells.means[n].get(key) for key in keys] for n in names]
    with connection.cursor() as cursor:
        cursor.execute(PER_ANIMAL, [*params, breed_id])
        rows = np.array(cursor.fetchall(), dtype=float).reshape(-1, 10)
        pairs = []
        for column in ("l.herd_id", "l.observer_id"):
            cursor.execute(PAIRS.format(column=column), [breed_id])
            pairs.append(np.array(cursor.fetchall(), dtype=np.int64).reshape(-1, 3))
    groups, row = np.unique(rows[:, :3].astype(np.int64), axis=0, return_inverse=True)
    row = row.ravel()
    values, known = np.nan_to_num(rows[:, 4:]), ~np.isnan(rows[:, 4:])

    def summed(columns):
        return np.stack([np.bincount(row, weights=each, minlength=len(groups)) for each in columns.T], axis=1)

    sums = SireSums(
        *groups.T.copy(),
        looks=np.bincount(row, weights=rows[:, 3], minlength=len(groups)),
        animals=np.bincount(row, minlength=len(groups)),
        n=summed(known.astype(float)),
        total=summed(values),
        square=summed(values**2),
        herds=pairs[0],
        graders=pairs[1],
        overall=np.array([np.nan if cells.overall[n] is None else cells.overall[n] for n in names]),
        at=timezone.now().timestamp(),
    )
    return int(rows[:, 3].sum()), sums


@lru_cache(maxsize=8)
def _arrays(key, at):
    return cache.get(key).value


def sire_sums(breed_id, cells):
    """The SireSums that are kept; the arrays stay in this process until they are renewed. One query when they do."""
    stamp = cache.get(f"{_key('sires', breed_id)}-at")
    if stamp is None:
        return renew_sires(breed_id, cells)
    if timezone.now().timestamp() - stamp >= FRESH_SECONDS:
        renew_soon("sires", breed_id)
    return _arrays(_key("sires", breed_id), stamp)


def renew_sires(breed_id, cells):
    sums = renew("sires", breed_id, lambda breed: read_sires(breed, cells))
    cache.set(f"{_key('sires', breed_id)}-at", sums.at, FOR_EVER)
    return sums


@dataclass(frozen=True)
class SireFigures:
    """One row a sire, columns (s,) by the names that load.summaries gives its rows."""

    columns: dict

    def __len__(self):
        return len(self.columns["key"])

    def ordered(self, field, down, last):
        """Places of the sires: those where bool `last` is false first, then by a column, NaN at its low end."""
        value = np.where(np.isnan(self.columns[field]), -np.inf, self.columns[field])
        order = np.lexsort((self.columns["key"], value))
        order = order[::-1] if down else order
        return order[np.argsort(last[order], kind="stable")]

    def rows(self, places):
        """Dicts as load.summaries gives them."""
        whole = ("key", "looks", "animals", "dams", "herds", "graders")
        found = []
        for place in places:
            row = {name: column[place] for name, column in self.columns.items()}
            found.append({n: int(v) if n in whole else None if np.isnan(v) else float(v) for n, v in row.items()})
        return found


def sire_figures(sums, herds=None):
    """SireFigures of the animals that stand in some herds (int array), or everywhere."""
    chosen = np.ones(len(sums.sire), bool) if herds is None else np.isin(sums.herd, herds)
    key, row = np.unique(sums.sire[chosen], return_inverse=True)
    columns = {"key": key}
    for name in ("looks", "animals"):
        columns[name] = np.bincount(row, weights=getattr(sums, name)[chosen], minlength=len(key))
    known = sums.dam[chosen] >= 0
    columns["dams"] = _distinct(row[known], sums.dam[chosen][known], len(key))
    for name in ("herds", "graders"):
        pairs = getattr(sums, name)
        pairs = pairs if herds is None else pairs[np.isin(pairs[:, 1], herds)]
        columns[name] = _distinct(np.searchsorted(key, pairs[:, 0]), pairs[:, 2], len(key))
    for i, name in enumerate(MEASURES):
        n, total, square = (
            np.bincount(row, weights=getattr(sums, each)[chosen, i], minlength=len(key))
            for each in ("n", "total", "square")
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            columns[name] = total / n + (sums.overall[i - 3] if i > 2 else 0.0)
            spread = np.sqrt(np.maximum(square - total**2 / n, 0.0) / (n - 1))
        columns[f"{name}_sd"] = np.where(n > 1, spread, np.nan)
    return SireFigures(columns)


def _distinct(row, what, count):
    """How many different `what` each of `count` rows has; both int64 (k,), `what` under two thousand million."""
    both = np.unique(row.astype(np.int64) << 31 | what)
    return np.bincount(both >> 31, minlength=count)
