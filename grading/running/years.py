"""What a run keeps of a trait by year: as graded, like for like, what the grading itself did, and who leans.

All from the very looks that the model read, so that the year report sets like beside like. Pure NumPy.
"""

import numpy as np

from grading import evaluation as model
from grading.figures import WITHIN
from grading.groups import SMALLEST_CELL

GRADING = ("grader and year", "half-year")  # what a look owes to who gave it and to when
MOST_LEANS = 100  # graders up to whom each gets a leaning with its error


def graded(looks, value, told):
    """{"raw": ..., "like": ...}: means of animals by birth year, raw and like for like; {} where no year is known."""
    born = looks.born[looks.animal]
    kept = told & (born >= 0)
    if not kept.any():
        return {}
    overall = float(value[told].mean())
    _, place, count = np.unique(looks.cell[told], return_inverse=True, return_counts=True)
    means = np.bincount(place, value[told]) / count
    like = np.full(len(value), np.nan)
    like[told] = np.where(count[place] >= SMALLEST_CELL, value[told] - means[place] + overall, np.nan)
    return {name: by_birth_year(looks, column, kept) for name, column in (("raw", value), ("like", like))}


def by_birth_year(looks, value, kept):
    """Years, counts, means of animals with their standard deviations, and the line through them."""
    kept = kept & ~np.isnan(value)
    animal, row = np.unique(looks.animal[kept], return_inverse=True)
    each = np.bincount(row, value[kept]) / np.bincount(row)
    year, place, count = np.unique(looks.born[animal], return_inverse=True, return_counts=True)
    if not len(year):
        return {"years": []}
    mean = np.bincount(place, each) / count
    square = np.bincount(place, (each - mean[place]) ** 2)
    pooled = square.sum() / max(int((count - 1).sum()), 1)
    spread = np.where(count > 1, square / np.maximum(count - 1, 1), pooled)
    of_look = looks.born[looks.animal[kept]]

    def distinct(column):
        return [len(np.unique(column[kept][(of_look == y) & (column[kept] >= 0)])) for y in year]

    return {
        "years": year.tolist(),
        "animals": count.tolist(),
        "looks": [int((of_look == y).sum()) for y in year],
        "herds": distinct(looks.herd),
        "graders": distinct(looks.observer),
        "means": mean.tolist(),
        "sds": [float(np.sqrt(s)) if n > 1 else None for s, n in zip(spread, count, strict=True)],
        **line(year, count, mean, np.diag(spread / count) if (count > 1).any() else None),
    }


def line(year, count, mean, covariance):
    """{"slope", "low", "high"} of the least squares line through means weighted by counts; None where there is none."""
    weights = along(year, count)
    if weights is None:
        return {"slope": None, "low": None, "high": None}
    slope = float(weights @ mean)
    if covariance is None:
        return {"slope": slope, "low": None, "high": None}
    half = WITHIN * float(np.sqrt(max(weights @ covariance @ weights, 0.0)))
    return {"slope": slope, "low": slope - half, "high": slope + half}


def along(year, count):
    """(y,) weights of yearly means in the slope of their least squares line; None with one year."""
    away = year - (count @ year) / count.sum()
    square = float(count @ away**2)
    return count * away / square if square else None


def averaged(looks, records, estimate, fixed):
    """The averages (evaluation.averaging) of merits by birth year and of what `grading` needs, from one estimate.

    The one set of solutions that pages show as merits takes the variances for known; whether a breed moved hangs on
    them, so the report's lines do not.
    """
    told = ~np.isnan(records.value)
    graded = np.unique(records.animal[told])
    born = np.full(len(looks.pedigree), -1)
    born[graded] = looks.born[graded]
    _, by_year = shares(looks, fixed, told, looks.year, GRADING)
    who, by_grader = leanings(looks, fixed[GRADING[0]], told)
    wanted = [by_year, by_grader] if len(who) <= MOST_LEANS else [by_year]
    return model.averaged(records, looks.pedigree, estimate, born, wanted)


def grading(looks, records, average):
    """{"grading": ..., "leans": ...}: how the looks of each calendar year, and each grader, depart from the average.

    Of a year: the mean effect of its graders and half-years over its looks. `told` is false where that cannot be told
    from ages, coats and modes. Of a grader: how far their looks depart from all looks of the same calendar year, over
    their years; {} with more than MOST_LEANS graders. average : from `averaged`.
    """
    told = ~np.isnan(records.value)
    found: dict = {}
    year, count = np.unique(looks.year[told], return_counts=True)
    sums, weights = average.of_levels[0], along(year, count)
    low, high = (None, None) if weights is None else sums.interval(weights)
    found["grading"] = {
        "years": year.tolist(),
        "looks": count.tolist(),
        "means": sums.mean.tolist(),
        "errors": errors_of(sums).tolist(),
        "told": bool(sums.clear.all()),
        "slope": None if weights is None else float(weights @ sums.mean),
        "low": low,
        "high": high,
    }
    if len(average.of_levels) == 1:
        return {**found, "leans": {}}
    who, looked = np.unique(looks.observer[told], return_counts=True)
    of_graders = average.of_levels[1]
    lean, errors = of_graders.mean, errors_of(of_graders)
    found["leans"] = {
        str(key): [float(lean[at]), float(errors[at]), int(looked[at])]
        if of_graders.clear[at]
        else [None, None, int(looked[at])]
        for at, key in enumerate(who.tolist())
    }
    return found


def errors_of(sums):
    """(k,) standard errors."""
    return np.sqrt(np.maximum(np.diag(sums.covariance), 0.0))


def shares(looks, tables, told, group, names):
    """Groups of looks, and for each effect (groups, levels): the share of a group's looks in each level, less that of
    all looks; so that what they sum to is the departure from the average look."""
    key, place = np.unique(group[told], return_inverse=True)
    found = {}
    for name in names:
        width = len(tables[name])
        code = looks.fixed[name][told] % width  # -1 is the last entry
        counts = np.zeros((len(key), width))
        np.add.at(counts, (place, code), 1.0)
        found[name] = counts / counts.sum(axis=1, keepdims=True) - counts.sum(axis=0) / counts.sum()
    return key, found


def leanings(looks, table, told):
    """Graders, and {effect: (graders, levels)}: a grader's share of looks in each of their years less the shares of
    all graders in that year, so that what a year did to everybody falls out."""
    width = len(table)
    code = looks.fixed[GRADING[0]][told] % width
    who, grader = np.unique(looks.observer[told], return_inverse=True)
    year, place = np.unique(looks.year[told], return_inverse=True)
    own, of_year, in_year = np.zeros((len(who), width)), np.zeros((len(year), width)), np.zeros((len(who), len(year)))
    np.add.at(own, (grader, code), 1.0)
    np.add.at(of_year, (place, code), 1.0)
    np.add.at(in_year, (grader, place), 1.0)
    of_year /= of_year.sum(axis=1, keepdims=True)
    many = own.sum(axis=1, keepdims=True)
    return who, {GRADING[0]: (own - in_year @ of_year) / many}
