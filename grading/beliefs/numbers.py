"""Effects with 95 % intervals from arrays; knows no Django.

Rows of one litter, or of one animal, are alike, so intervals go by cluster: each of the G is left out in turn,

    var(b) = (G - 1) / G x sum over g of (b without g - b)^2

(the cluster jackknife: Bell and McCaffrey 2002, Survey Methodology 28:169-181; sound with few clusters, where the usual
sandwich is too narrow), with Student's t of G - 1 degrees of freedom. What cannot be told has no value and a `why`.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse, stats

from grading.shares import wilson

LEVEL = 0.975  # both sides: intervals of 95 %
FEWEST_CLUSTERS = 5  # under so many, the interval itself is a guess


@dataclass(frozen=True)
class Effect:
    """value with its 95 % interval, of n rows in `groups` clusters; None where it cannot be told, and then `why`."""

    n: int
    groups: int
    value: float | None = None
    low: float | None = None
    high: float | None = None
    why: str = ""

    @property
    def told(self):
        return self.value is not None

    @property
    def sure(self):
        """Whether the interval leaves nought out."""
        return self.value is not None and not self.low <= 0 <= self.high


def share(seen, of):
    """Share of `of` in which something was seen, with Wilson's interval."""
    if of == 0:
        return Effect(0, 0, why="nothing was counted")
    return Effect(of, of, seen / of, *wilson(seen, of))


def slope(x, y, cluster):
    """Effect of one unit of x on y, floats (r,), by least squares with a mean; cluster int (r,). NaN rows are left out.

    With x 0 or 1 it is the difference of two groups.
    """
    x, y, cluster = (np.asarray(each) for each in (x, y, cluster))
    keep = ~(np.isnan(x.astype(float)) | np.isnan(y.astype(float)))
    x, y = x[keep].astype(float), y[keep].astype(float)
    groups, code = np.unique(cluster[keep], return_inverse=True)
    n, g = len(x), len(groups)
    if n < 3 or g < FEWEST_CLUSTERS:
        return Effect(n, g, why=f"it takes {FEWEST_CLUSTERS} independent groups of rows, and there are {g}")
    around = x - x.mean()
    spread = float(around @ around)
    if spread <= 1e-12 * max(1.0, float(np.abs(x).max()) ** 2) * n:
        return Effect(n, g, why="all rows are alike in what is believed to matter")
    value = float(around @ y) / spread
    off = y - y.mean()
    sums = [np.bincount(code, weights=each) for each in (np.ones(n), around, off, around * around, around * off)]
    left, x_left, y_left, xx_left, xy_left = (each.sum() - each for each in sums)
    wide = xx_left - x_left**2 / left
    if (wide <= 1e-9 * spread).any():
        return Effect(n, g, why="it would rest on a single litter or animal")
    without = (xy_left - x_left * y_left / left) / wide
    variance = (g - 1) / g * float(((without - value) ** 2).sum())
    half = float(stats.t.ppf(LEVEL, g - 1)) * variance**0.5
    return Effect(n, g, value, value - half, value + half)


def swayed(animal, grader, x, y, likely=0.4):
    """(g,) slope of each grader's y on x beside the others' of the same animals; what is common to all is not seen.

    animal, grader : codes from 0, int (r,); x, y float (r,). y = animal + grader + slope of the grader x, each grader's
    slope drawn towards nought as if slopes had a standard deviation of `likely` and rows one of 1 (ridge regression,
    Hoerl and Kennard 1970, Technometrics 12:55-67): graders with few rows change little. The middle row's grader is
    given nought, since a few that are swayed must not make the others seem swayed the other way.
    """
    r = np.arange(len(x))
    of_grader = sparse.csr_array((np.ones(len(x)), (r, grader)))
    many = np.maximum(of_grader.sum(axis=0), 1)
    x, y = x - (of_grader.T @ x / many)[grader], y - (of_grader.T @ y / many)[grader]
    of_animal = sparse.csr_array((np.ones(len(x)), (r, animal)))
    looks = np.maximum(of_animal.sum(axis=0), 1)
    steps = sparse.csr_array((x, (r, grader)), shape=of_grader.shape)
    by_animal = of_animal.T @ steps
    shared = (by_animal.T @ (sparse.diags_array(1 / looks) @ by_animal)).toarray()
    within_animals = (steps.T @ steps).toarray() - shared
    right = steps.T @ y - by_animal.T @ ((of_animal.T @ y) / looks)
    found = np.linalg.solve(within_animals + np.eye(steps.shape[1]) / likely**2, right)
    return found - np.median(found[grader])


def correlation(x, y):
    """Pearson's correlation of x and y, floats (r,), NaN left out; interval by Fisher's z (1921, Metron 1:3-32)."""
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    keep = ~(np.isnan(x) | np.isnan(y))
    x, y = x[keep], y[keep]
    n = len(x)
    if n < 4:
        return Effect(n, n, why=f"it takes 4 animals, and there are {n}")
    if x.std() < 1e-9 or y.std() < 1e-9:
        return Effect(n, n, why="all animals were given the same step")
    value = float(np.clip(np.corrcoef(x, y)[0, 1], -1, 1))
    inner = np.clip(value, -1 + 1e-12, 1 - 1e-12)
    half = float(stats.norm.ppf(LEVEL)) / (n - 3) ** 0.5
    return Effect(n, n, value, float(np.tanh(np.arctanh(inner) - half)), float(np.tanh(np.arctanh(inner) + half)))


@dataclass(frozen=True)
class Slopes:
    """Slopes within animals. all : the Effect over everybody. by_group : {group: Effect} of those with enough animals.

    drawn : {group: Effect} pulled towards the mean of the groups as far as chance could have set them apart.
    apart : standard deviation of the groups' true slopes, and `chance` how often chance alone would set them so far
    apart (Cochran's Q as an F, since the scatter is estimated). mean : of the groups.
    few : {group: animals} of the others.
    """

    all: Effect
    by_group: dict
    drawn: dict
    apart: float
    mean: Effect | None
    few: dict
    chance: float = 1.0


def within(animal, x, y):
    """Sums of squares within animals: (animals, Sxx, Sxy), of those with x at two values. animal int (r,)."""
    keep = ~(np.isnan(x) | np.isnan(y))
    animals, code = np.unique(animal[keep], return_inverse=True)
    count = np.bincount(code)
    x, y = x[keep], y[keep]
    x = x - (np.bincount(code, weights=x) / count)[code]
    y = y - (np.bincount(code, weights=y) / count)[code]
    sxx, sxy = np.bincount(code, weights=x * x), np.bincount(code, weights=x * y)
    told = sxx > 1e-6
    return animals[told], sxx[told], sxy[told]


def slopes(sxx, sxy, group, fewest):
    """Slopes of everybody and by group from each animal's sums within it, floats (a,). group int (a,), -1 in none.

    A group needs `fewest` animals. Animals' scatter about their group's slope is taken from all groups at once, so that
    five animals that happen to agree do not look sure. Groups are drawn in by the method of moments of DerSimonian and
    Laird (1986, Controlled Clinical Trials 7:177-188); what lies between groups is itself not well known, so intervals
    of the drawn take it larger by its standard error, without which they held the truth in 90 of 100 instead of 95.
    """
    everybody = _over_all(sxx, sxy)
    counts = {int(key): int((group == key).sum()) for key in np.unique(group[group >= 0])}
    enough = sorted(key for key, many in counts.items() if many >= fewest)
    few = {key: many for key, many in counts.items() if many < fewest}
    own = np.isin(group, enough)
    free = int(own.sum()) - len(enough)
    if not enough or free < 1:
        return Slopes(everybody, {}, {}, 0.0, None, few)
    code = np.searchsorted(enough, group[own])
    total = np.bincount(code, weights=sxx[own])
    value = np.bincount(code, weights=sxy[own]) / total
    off = sxy[own] - value[code] * sxx[own]
    scatter = float(off @ off) / float(sxx[own].sum()) * int(own.sum()) / free
    variance = scatter / total
    reach = float(stats.t.ppf(LEVEL, free))
    by_group = {key: _about(value[i], variance[i], reach, counts[key], counts[key]) for i, key in enumerate(enough)}
    between, mean, error, unsure = moments(value, variance)
    middle = _about(mean, error, reach, int(own.sum()), len(enough))
    drawn = {}
    for i, key in enumerate(enough):
        weight = between / (between + variance[i]) if between + variance[i] > 0 else 0.0
        most = between + unsure
        left = most * variance[i] / (most + variance[i]) + (1 - weight) ** 2 * error if most > 0 else error
        drawn[key] = _about(weight * value[i] + (1 - weight) * mean, left, reach, counts[key], counts[key])
    chance = 1.0
    if len(enough) > 1:
        weight = 1 / variance
        off = value - weight @ value / weight.sum()
        chance = float(stats.f.sf(weight @ off**2 / (len(enough) - 1), len(enough) - 1, free))
    return Slopes(everybody, by_group, drawn, between**0.5, middle, few, chance)


def _about(value, variance, reach, n, groups):
    half = reach * float(variance) ** 0.5
    return Effect(n, groups, float(value), float(value) - half, float(value) + half)


def _over_all(sxx, sxy):
    n = len(sxx)
    if n < FEWEST_CLUSTERS:
        return Effect(n, n, why=f"it takes {FEWEST_CLUSTERS} animals looked at twice, and there are {n}")
    total = float(sxx.sum())
    value = float(sxy.sum()) / total
    off = sxy - value * sxx
    variance = float(off @ off) / total**2 * n / (n - 1)
    return _about(value, variance, float(stats.t.ppf(LEVEL, n - 1)), n, n)


def moments(value, variance):
    """(variance between groups, their mean, its error variance, the first's standard error were it nought).

    value (k,) : estimates, variance (k,) : their error variances.
    """
    value, variance = np.asarray(value, dtype=float), np.maximum(np.asarray(variance, dtype=float), 1e-12)
    weight = 1 / variance
    fixed = weight @ value / weight.sum()
    more = weight.sum() - weight @ weight / weight.sum()
    apart = weight @ (value - fixed) ** 2 - (len(value) - 1)
    between = max(0.0, float(apart / more)) if more > 0 else 0.0
    unsure = float((2 * (len(value) - 1)) ** 0.5 / more) if more > 0 else 0.0
    weight = 1 / (variance + between)
    return between, float(weight @ value / weight.sum()), float(1 / weight.sum()), unsure
