"""Turns looks into arrays and summaries; the one place where the progeny and year pages read the database."""

from dataclasses import dataclass

import numpy as np
from django.db import connection
from django.db.models import Avg, Count

from grading import groups, standing
from grading.models import Look

COLUMNS = ("surface", "undercolor", "reach")


@dataclass(frozen=True)
class Cells:
    """The means that 'like for like' compares with: per column a dict of cell to mean, and the overall mean."""

    means: dict
    overall: dict
    looks: int = 0


def cells_of(breed_id):
    """Cells of all current looks of a breed, by (age class, coat stage, mode), as grading/standing.py keeps them."""
    return standing.kept("cells", breed_id, counted_cells)


def counted_cells(breed_id):
    """(looks, Cells) read from the database now."""
    cells = read_cells(breed_id)
    return cells.looks, cells


def read_cells(breed_id):
    """Cells read from the database now. One query."""
    looks = Look.objects.current().filter(animal__breed=breed_id)
    numbers = {f"{what}_{name}": kind(name) for name in COLUMNS for what, kind in (("mean", Avg), ("n", Count))}
    rows = looks.order_by().values("age_class__code", "coat_stage", "mode").annotate(looks=Count("pk"), **numbers)
    means: dict = {name: {} for name in COLUMNS}
    totals = dict.fromkeys(COLUMNS, (0, 0.0))
    seen = 0
    for row in rows:
        seen += row["looks"]
        for name in COLUMNS:
            n, mean = row[f"n_{name}"], row[f"mean_{name}"]
            if n:
                count, total = totals[name]
                totals[name] = (count + n, total + n * mean)
            if n >= groups.SMALLEST_CELL:
                means[name][(row["age_class__code"] or "", row["coat_stage"], row["mode"])] = mean
    overall = {name: total / count if count else None for name, (count, total) in totals.items()}
    return Cells(means, overall, seen)


@dataclass(frozen=True)
class LookRows:
    """Looks as columns, one row each, oldest first. `value[name]` is float (r,) with NaN where not told."""

    look: np.ndarray
    animal: np.ndarray
    dam: np.ndarray
    herd: np.ndarray
    observer: np.ndarray
    stands: np.ndarray  # the herd where the animal is now
    cell: list
    value: dict

    def __len__(self):
        return len(self.look)

    def only(self, keep):
        """The rows where `keep`, bool (r,), is true."""
        return LookRows(
            self.look[keep],
            self.animal[keep],
            self.dam[keep],
            self.herd[keep],
            self.observer[keep],
            self.stands[keep],
            [cell for cell, kept in zip(self.cell, keep, strict=True) if kept],
            {name: column[keep] for name, column in self.value.items()},
        )


def look_rows(looks):
    """LookRows of a queryset of looks. One query."""
    keys = ("pk", "animal_id", "animal__dam_id", "herd_id", "observer_id", "animal__herd_id")
    fields = (*keys, "age_class__code", "coat_stage", "mode")
    rows = list(looks.order_by("observed_on", "pk").values_list(*fields, *COLUMNS))
    ids = np.array([[value or -1 for value in row[:6]] for row in rows], dtype=np.int64).reshape(-1, 6)
    numbers = np.array([row[9:] for row in rows], dtype=float).reshape(-1, len(COLUMNS))
    return LookRows(
        *ids.T,
        cell=[(row[6] or "", row[7], row[8]) for row in rows],
        value={name: numbers[:, i] for i, name in enumerate(COLUMNS)},
    )


@dataclass(frozen=True)
class Group:
    """Animals looked at: how many, by how many dams, herds and graders, and how surface and undercolor lie.

    `spread[name]` is a groups.Spread; `covariance` of surface and undercolor is (2, 2) or None;
    `animal_values[name]` is a dict of animal to its mean; `left_out` counts looks that could not be compared.
    """

    looks: int
    animals: int
    dams: int
    herds: int
    graders: int
    spread: dict
    covariance: np.ndarray | None
    animal_values: dict
    left_out: int = 0


def group_of(rows, cells=None):
    """The Group of LookRows, raw, or like for like when `cells` are given."""
    left_out = 0
    values, means = {}, {}
    animals = np.unique(rows.animal)
    for name in COLUMNS:
        column = rows.value[name]
        if cells is not None:
            overall = cells.overall[name]
            adjusted = groups.like_for_like(
                column, rows.cell, cells.means[name], np.nan if overall is None else overall
            )
            if name == "surface":
                left_out = int((np.isnan(adjusted) & ~np.isnan(column)).sum())
            column = adjusted
        _, means[name] = groups.animal_means(rows.animal, column)
        values[name] = dict(zip(animals.tolist(), means[name].tolist(), strict=True))
    return Group(
        looks=len(rows),
        animals=len(animals),
        dams=len(np.unique(rows.dam[rows.dam >= 0])),
        herds=len(np.unique(rows.herd[rows.herd >= 0])),
        graders=len(np.unique(rows.observer)),
        spread={name: groups.spread(means[name]) for name in COLUMNS},
        covariance=groups.pair_covariance(means["surface"], means["undercolor"]),
        animal_values=values,
        left_out=left_out,
    )


GROUPED_BY = {"sire": "a.sire_id", "birth year": "extract(year FROM a.born_on)::int"}


def summaries(looks, by, cells):
    """One row per sire or birth year of the looks in a queryset, without loading the looks.

    looks : queryset of Look. by : a key of GROUPED_BY. Returns a list of dicts: key, looks, animals, dams, herds,
    graders, and for surface, undercolor, reach: NAME, NAME_sd (raw), NAME_like, NAME_like_sd; steps, or None.
    Each animal counts once, with the mean of its looks. One query.
    """
    chosen, chosen_params = looks.order_by().values("pk").query.sql_with_params()
    keys = sorted({key for name in COLUMNS for key in cells.means[name]})
    cell_params = [[key[i] for key in keys] for i in range(3)]
    cell_params += [[cells.means[name].get(key) for key in keys] for name in COLUMNS]
    overall = [cells.overall[name] for name in COLUMNS]
    group = GROUPED_BY[by]
    query = f"""
        WITH cell (age, coat, mode, surface, undercolor, reach) AS (
            SELECT * FROM unnest(%s::text[], %s::text[], %s::text[], %s::float8[], %s::float8[], %s::float8[])),
        seen AS (
            SELECT {group} AS key, l.animal_id, a.dam_id, l.herd_id, l.observer_id,
                   l.surface, l.undercolor, l.reach,
                   l.surface - cell.surface AS surface_off, l.undercolor - cell.undercolor AS undercolor_off,
                   l.reach - cell.reach AS reach_off
            FROM grading_look l
            JOIN herds_animal a ON a.id = l.animal_id
            LEFT JOIN grading_ageclass c ON c.id = l.age_class_id
            LEFT JOIN cell ON cell.age = coalesce(c.code, '') AND cell.coat = l.coat_stage AND cell.mode = l.mode
            WHERE l.id IN ({chosen}) AND {group} IS NOT NULL),
        per_animal AS (
            SELECT key, animal_id, min(dam_id) AS dam_id, count(*) AS looks,
                   avg(surface) AS surface, avg(undercolor) AS undercolor, avg(reach) AS reach,
                   avg(surface_off) + %s::float8 AS surface_like, avg(undercolor_off) + %s::float8 AS undercolor_like,
                   avg(reach_off) + %s::float8 AS reach_like
            FROM seen GROUP BY key, animal_id),
        people AS (
            SELECT key, count(DISTINCT herd_id) AS herds, count(DISTINCT observer_id) AS graders
            FROM seen GROUP BY key)
        SELECT key, sum(looks)::int AS looks, count(*) AS animals, count(DISTINCT dam_id) AS dams, herds, graders,
               avg(surface) AS surface, stddev_samp(surface) AS surface_sd,
               avg(undercolor) AS undercolor, stddev_samp(undercolor) AS undercolor_sd,
               avg(reach) AS reach, stddev_samp(reach) AS reach_sd,
               avg(surface_like) AS surface_like, stddev_samp(surface_like) AS surface_like_sd,
               avg(undercolor_like) AS undercolor_like, stddev_samp(undercolor_like) AS undercolor_like_sd,
               avg(reach_like) AS reach_like, stddev_samp(reach_like) AS reach_like_sd
        FROM per_animal JOIN people USING (key) GROUP BY key, herds, graders ORDER BY key
    """  # noqa: S608 - only our own column names and Django's compiled query are put in
    with connection.cursor() as cursor:
        cursor.execute(query, [*cell_params, *chosen_params, *overall])
        names = [column.name for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def step_counts(looks):
    """How many animals got each step, per trait, from the last of the looks of each animal.

    Places (shoulder, loin, rump) are averaged and rounded to a whole step. Returns dict of trait id to dict of step to
    count. One query.
    """
    chosen, params = looks.order_by().values("pk").query.sql_with_params()
    query = f"""
        WITH last AS (
            SELECT DISTINCT ON (animal_id) id FROM grading_look WHERE id IN ({chosen})
            ORDER BY animal_id, observed_on DESC, id DESC),
        graded AS (
            SELECT n.trait_id, n.look_id, round(avg(n.step))::int AS step
            FROM grading_answer n JOIN last ON last.id = n.look_id
            WHERE n.step IS NOT NULL GROUP BY n.trait_id, n.look_id)
        SELECT trait_id, step, count(*) FROM graded GROUP BY trait_id, step ORDER BY trait_id, step
    """  # noqa: S608 - only Django's compiled query is put in
    counts: dict = {}
    with connection.cursor() as cursor:
        cursor.execute(query, params)
        for trait, step, count in cursor.fetchall():
            counts.setdefault(trait, {})[step] = count
    return counts
