"""Merits and sums of levels averaged over the variances that the looks leave open, with errors that allow for them.

Merits are worked out as if the variances were known. Where a breed is chosen, the change of its mean merit is nearly
proportional to heritability, so that a line taken at one estimate is much too sure of itself. Here the equations are
solved at many divisions of the variance, each counting by its restricted likelihood:

    mean = sum w_i m_i        error = sum w_i (E_i + (m_i - mean)(m_i - mean)')         w_i ~ likelihood, sum 1

* Small data (up to `MOST_DENSE` equations): the likelihood itself, over the shares of litter, of what stays with the
  animal, and of merit within it, in nested Gauss-Legendre points; the total is where the likelihood of the shares is
  highest. Shares count alike over all that is possible, litter's by its root: it is often nothing, and an even weight
  would take too much from merit. Intervals are those of the mixture of normals, so they may be skew.
* Large data, where it is not known: log odds of heritability normal, in three Gauss-Hermite points; the other variances
  follow on the line on which their errors go with heritability's, and E is that of the estimate.

Source: Kass and Steffey (1989), J. Am. Stat. Assoc. 84:717-726, for the two parts of the error; Gianola, Foulley and
Fernando (1986), J. Dairy Sci. 69:2938-2949, for merits averaged over variances ; Gelman (2006),
Bayesian Analysis 1:515-533, for a weight that is even over a standard deviation (all from memory).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from .data import Mask, Numbers, Pedigree, Records, Rows, Variances
from .design import Design
from .equations import MOST_DENSE, Answer, Equations
from .errors import EvaluationError
from .levels import columns_of, told_apart
from .ratios import WITHIN, share
from .reml import squares_left, twice_constants
from .solving import covariances_of
from .variances import EFFECTS, VarianceEstimate

LEAST, MOST = 1e-3, 0.98  # shares of merit, and of all that is not the residual, between which equations are sound
POINTS = {"litter": (4, 2.5), "kept": (4, 2.5), "animal": (7, 3.5)}  # points, and standard errors they reach each way
FALL = 7.0  # of log likelihood below the best, from which on a point counts nothing
CORNER = 0.02  # of the normal weight of the middle, under which a pair of litter and kept is left out
HERMITE = ((-(3.0**0.5), 1 / 6), (0.0, 2 / 3), (3.0**0.5, 1 / 6))
HALF = ((0.34, 0.64), (1.5, 0.34), (2.66, 0.02))  # the same for what is at zero: half a normal


@dataclass(frozen=True, eq=False)
class Sums:
    """k sums at m divisions: weight (m,), value (m, k), error (m, k, k); clear (k,) whether a sum can be told."""

    weight: Numbers
    value: Numbers
    error: Numbers
    clear: Mask
    skew: bool

    @property
    def mean(self) -> Numbers:
        return np.asarray(self.weight @ self.value)

    @property
    def covariance(self) -> Numbers:
        """(k, k): errors at given variances, and what not knowing these adds."""
        away = self.value - self.mean
        return np.asarray(np.tensordot(self.weight, self.error, 1) + (away * self.weight[:, None]).T @ away)

    def interval(self, weights: ArrayLike) -> tuple[float, float]:
        """Low and high end, 95 %, of the sum of the k sums by weights (k,)."""
        along = np.asarray(weights, dtype=np.float64)
        middle = self.value @ along
        spread = np.sqrt(np.maximum(np.einsum("j,mjk,k->m", along, self.error, along), 0.0))
        mean = float(self.weight @ middle)
        whole = float(np.sqrt(self.weight @ (spread**2 + (middle - mean) ** 2)))
        if not self.skew or whole == 0 or spread.min() <= 0:
            return mean - WITHIN * whole, mean + WITHIN * whole
        start, stop = float((middle - 8 * spread).min()), float((middle + 8 * spread).max())

        def below(x: float, part: float) -> float:
            return float(self.weight @ stats.norm.cdf((x - middle) / spread)) - part

        low, high = (float(optimize.brentq(below, start, stop, args=(part,))) for part in (0.025, 0.975))
        return low, high


@dataclass(frozen=True, eq=False)
class Averaged:
    """What was averaged over `variances` (m,) by `weight` (m,).

    merit, permanent : (n,). fixed : name -> solutions by code, as in Solution. groups : codes (y,), of_groups : their
    mean merits. of_levels : the lists of sums that were asked for, in order.
    """

    merit: Numbers
    permanent: Numbers
    fixed: dict[str, Numbers]
    groups: Rows
    of_groups: Sums
    of_levels: tuple[Sums, ...]
    variances: tuple[Variances, ...]
    weight: Numbers


@dataclass(frozen=True, eq=False)
class Point:
    """One division: its variances, log likelihood, answer to the looks, sums and their errors, of one list each."""

    variances: Variances
    log_likelihood: float
    answer: Answer
    values: list[Numbers]
    errors: list[Numbers]


def averaged(
    records: Records,
    pedigree: Pedigree,
    estimate: VarianceEstimate,
    group: ArrayLike,
    levels: Sequence[Mapping[str, Numbers]] = (),
) -> Averaged:
    """Averages over what `estimate` leaves open of the variances of the same records.

    group : (n,) int code of each animal, below zero for none, whose mean merits are wanted. levels : for each list of
    sums, effect -> (k, levels) as errors_of_levels takes it.
    """
    litter = records.litter if estimate.standard_errors.litter or estimate.variances.litter else None
    design = Design([replace(records, litter=litter)], pedigree)
    codes, means = means_of(np.asarray(group), design.animals)
    of_levels = [columns_of(design, given) for given in levels]
    task = Task(design, means, of_levels)
    dense = Equations(design, covariances_of(estimate.variances)).size <= MOST_DENSE
    points, weight = (by_likelihood if dense else by_odds)(task, estimate)
    if not points:
        points, weight = [task.at(estimate.variances)], np.ones(1)
    merit, permanent, fixed = (
        np.tensordot(weight, [getattr(point.answer, name)[:, 0, 0] for point in points], 1)
        for name in ("animal", "permanent", "fixed")
    )
    sums = [
        Sums(
            weight,
            np.array([point.values[at] for point in points]),
            np.array([point.errors[at] for point in points]),
            np.ones(len(codes), dtype=bool) if at == 0 else told_apart(design, of_levels[at - 1]),
            dense,
        )
        for at in range(1 + len(of_levels))
    ]
    return Averaged(
        merit,
        permanent,
        {factor.name: factor.table(fixed) for factor in design.factors},
        codes,
        sums[0],
        tuple(sums[1:]),
        tuple(point.variances for point in points),
        weight,
    )


def means_of(group: Rows, animals: int) -> tuple[Rows, Numbers]:
    """Codes (y,) and the weights (n, y) of their means."""
    inside = group >= 0
    codes, place = np.unique(group[inside], return_inverse=True)
    weights = np.zeros((animals, len(codes)))
    weights[np.flatnonzero(inside), place] = 1.0
    return codes, weights / np.maximum(weights.sum(axis=0), 1.0)


@dataclass(frozen=True, eq=False)
class Task:
    """What is worked out at every division: means (n, y) of merits, levels : weights (columns, k) of each list."""

    design: Design
    means: Numbers
    levels: list[Numbers]

    def at(self, variances: Variances, errors: list[Numbers] | None = None) -> Point:
        """The point of these variances; errors : those of another point, taken instead of working them out."""
        equations = Equations(self.design, covariances_of(variances))
        answer = equations.solve([equations.sums(self.design.value)])
        values = [self.means.T @ answer.animal[:, 0, 0], *(given.T @ answer.fixed[:, 0, 0] for given in self.levels)]
        return Point(variances, 0.0, answer, values, self.errors(equations) if errors is None else errors)

    def shared(self, shares: dict[str, float]) -> Point:
        """The point of shares of the whole (their sum 1), at the total that fits best; small equations only."""
        equations = Equations(self.design, covariances_of(Variances(**shares)), dense=True)
        answer = equations.solve([equations.sums(self.design.value)])
        freedom = int((~self.design.missing).sum()) - self.design.rank
        total = squares_left(equations, answer) / freedom
        likelihood = -(twice_constants(equations) + freedom * (np.log(total) + 1)) / 2
        values = [self.means.T @ answer.animal[:, 0, 0], *(given.T @ answer.fixed[:, 0, 0] for given in self.levels)]
        variances = Variances(**{name: size * total for name, size in shares.items()})
        return Point(variances, likelihood, answer, values, [total * each for each in self.errors(equations)])

    def errors(self, equations: Equations) -> list[Numbers]:
        """Error covariances of the means and of each list of sums."""
        design, solver = self.design, equations.solve_dense if equations.dense else equations.solve_gradients
        found = []
        for at, given in enumerate([self.means, *self.levels]):
            k, rows = given.shape[1], design.kept[:, 0]
            if not k:
                found.append(np.zeros((0, 0)))
                continue
            columns, animals = np.zeros((design.columns, k, 1)), np.zeros((design.animals, k, 1))
            (columns if at else animals)[:, :, 0] = given
            b, _, a, *_ = solver(columns, np.zeros((equations.q, k, 1)), animals, None, 1e-9)
            each = given[rows].T @ b[rows, :, 0] if at else given.T @ a[:, :, 0]
            found.append((each + each.T) / 2)
        return found


# -- small data: by the likelihood itself ---------------------------------------------------------------------------


def by_likelihood(task: Task, estimate: VarianceEstimate) -> tuple[list[Point], Numbers]:
    """Points and their weights (m,)."""
    names, middle, covariance = in_shares(estimate)
    points: list[Point] = []
    if not np.isfinite(covariance).all() or not covariance[-1, -1] > 0:
        return points, np.zeros(0)
    sizes: list[float] = []
    best = -np.inf
    for outer, size in outer_points(names, middle, covariance):
        low, high, centre = reach(names, middle, covariance, outer)
        place, width = spread_out("animal", low, high)
        first = int(np.abs(place - centre).argmin())
        for way in (range(first, len(place)), range(first - 1, -1, -1)):
            for at in way:
                try:
                    point = task.shared(divided(names, [*outer, float(place[at])]))
                except EvaluationError:  # levels that cannot be told apart at the edge of what is possible
                    break
                points.append(point)
                sizes.append(size * float(width[at]))
                best = max(best, point.log_likelihood)
                if point.log_likelihood < best - FALL:
                    break
    if not points:
        return points, np.zeros(0)
    weight = np.array(sizes) * np.exp([point.log_likelihood - best for point in points])
    return points, weight / weight.sum()


def in_shares(estimate: VarianceEstimate) -> tuple[list[str], Numbers, Numbers]:
    """The open shares in the order litter, kept (what stays with the animal), animal; their estimates (d,) and error
    covariances (d, d)."""
    sizes = np.array([getattr(estimate.variances, name) for name in EFFECTS])
    total = sizes.sum()
    turn = (np.eye(len(EFFECTS)) - np.outer(sizes / total, np.ones(len(EFFECTS)))) / total
    errors = turn @ estimate.covariance @ turn.T
    names, rows = [], []
    if estimate.standard_errors.litter:
        names, rows = ["litter"], [[0, 0, 1, 0]]
    if estimate.standard_errors.permanent:
        names, rows = [*names, "kept"], [*rows, [1, 1, 0, 0]]
    names, rows = [*names, "animal"], [*rows, [1, 0, 0, 0]]
    over = np.array(rows, dtype=np.float64)
    return names, over @ sizes / total, over @ errors @ over.T


def divided(names: list[str], shares: Sequence[float]) -> dict[str, float]:
    """Shares of the four effects."""
    given = dict(zip(names, shares, strict=True))
    litter, animal = given.get("litter", 0.0), given["animal"]
    kept = given.get("kept", animal)
    return {"animal": animal, "permanent": max(kept - animal, 0.0), "litter": litter, "residual": 1 - kept - litter}


def outer_points(names: list[str], middle: Numbers, covariance: Numbers) -> Iterator[tuple[list[float], float]]:
    """All but the last share, and the size of what they stand for."""
    if len(names) == 1:
        yield [], 1.0
        return
    lines: list[tuple[list[float], float, float]] = [([], 1.0, 1.0)]  # shares, size, normal weight
    for name in names[:-1]:
        longer = []
        for outer, size, normal in lines:
            low, high, centre = reach(names, middle, covariance, outer)
            _, error = conditional(middle, covariance, outer)
            for place, width in zip(*spread_out(name, low, high), strict=True):
                height = float(np.exp(-(((place - centre) / error) ** 2) / 2))
                longer.append(([*outer, float(place)], size * float(width), normal * height))
        lines = longer
    most = max(size * normal for _, size, normal in lines)
    for outer, size, normal in lines:
        if size * normal >= CORNER * most:
            yield outer, size


def conditional(middle: Numbers, covariance: Numbers, outer: list[float]) -> tuple[float, float]:
    """Expected share and its standard error, given those before it."""
    at = len(outer)
    if not at:
        return float(middle[0]), max(float(np.sqrt(max(covariance[0, 0], 0.0))), LEAST)
    slope = covariance[at, :at] @ np.linalg.pinv(covariance[:at, :at], hermitian=True)
    expected = middle[at] + slope @ (np.array(outer) - middle[:at])
    left = covariance[at, at] - slope @ covariance[:at, at]
    return float(expected), max(float(np.sqrt(max(left, 0.0))), LEAST)


def reach(names: list[str], middle: Numbers, covariance: Numbers, outer: list[float]) -> tuple[float, float, float]:
    """Low and high end of the next share, and where it is expected."""
    name, given = names[len(outer)], dict(zip(names, outer, strict=False))
    centre, error = conditional(middle, covariance, outer)
    least = {"litter": 0.0, "kept": LEAST, "animal": LEAST}[name]
    most = given.get("kept", MOST - given.get("litter", 0.0)) if name == "animal" else MOST - given.get("litter", 0.0)
    if name == "litter":
        most = MOST / 2
    centre = min(max(centre, least), most)
    wide = POINTS[name][1] * error
    return max(least, centre - wide), min(most, centre + wide), centre


def spread_out(name: str, low: float, high: float) -> tuple[Numbers, Numbers]:
    """Gauss-Legendre places of a share between two ends, and weights: even over the share, litter's over its root."""
    points = POINTS[name][0]
    place, weight = np.polynomial.legendre.leggauss(points)
    if name == "litter":
        low, high = np.sqrt(low), np.sqrt(high)
    place, weight = (low + high) / 2 + place * (high - low) / 2, weight * (high - low) / 2
    return (place**2 if name == "litter" else place), weight


# -- large data: log odds of heritability taken as normal -----------------------------------------------------------


def by_odds(task: Task, estimate: VarianceEstimate) -> tuple[list[Point], Numbers]:
    """The estimate and points to both sides of it, with weights (m,)."""
    ratio = estimate.heritability
    at_zero = ratio.value <= LEAST
    names, middle, covariance = in_shares(estimate)
    slope = covariance[:, -1] / max(covariance[-1, -1], 1e-300)
    center = task.at(estimate.variances)
    if not np.isfinite([ratio.low, ratio.high]).all() or not ratio.low < ratio.high:
        return [center], np.ones(1)
    places: list[tuple[float, float]]
    if at_zero:
        places = [(away * ratio.high / 1.645, size) for away, size in HALF]
    else:
        odds, wide = log_odds(ratio.value), (log_odds(ratio.high) - log_odds(ratio.low)) / (2 * WITHIN)
        places = [(share(odds + away * wide), size) for away, size in HERMITE]
    points = []
    for place, _ in places:
        if not at_zero and abs(place - ratio.value) < 1e-12:
            points.append(center)
            continue
        animal = min(max(place, LEAST), MOST)
        moved = middle + slope * (animal - middle[-1])
        given = dict(zip(names, moved.tolist(), strict=True)) | {"animal": animal}
        if "litter" in given:
            given["litter"] = min(max(given["litter"], 0.0), (MOST - animal) / 2)
        if "kept" in given:
            given["kept"] = min(max(given["kept"], animal), MOST - given.get("litter", 0.0))
        shares = divided(names, [given[name] for name in names])
        total = estimate.variances.total
        points.append(task.at(Variances(**{name: size * total for name, size in shares.items()}), center.errors))
    return points, np.array([size for _, size in places])


def log_odds(value: float) -> float:
    inside = min(max(value, 1e-9), 1 - 1e-9)
    return float(np.log(inside / (1 - inside)))
