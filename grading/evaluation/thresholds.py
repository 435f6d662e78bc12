"""What an ordered-threshold treatment of steps would change: a simulation, not part of any run.

Steps are ordered classes of a hidden normal quantity. The linear model takes the step as the quantity. The threshold
model puts cutting points t[1] < t[2] < ... on the hidden scale:

    P(step <= c) = Phi(t[c] - eta),    eta = fixed effects + merit

and finds the most likely merits and cutting points by Fisher scoring, with the same variances (in units of the hidden
residual) and the same relationship matrix. Both are compared by the correlation of their merits with the true ones, for
scales from fine and even to coarse and lopsided.
Source: Gianola and Foulley (1983), Genet. Sel. Evol. 15:201-224 (from memory).
"""

import numpy as np
from scipy.special import ndtr, ndtri

from .data import Numbers, Pedigree, Records, Rows, Variances
from .nation import made_up
from .solving import solve
from .variances import estimate_variances

HIDDEN = Variances(animal=0.6, permanent=0.0, residual=1.0)
SCALES = {
    "nine steps, even": np.linspace(-2.2, 2.2, 8),
    "nine steps, most looks in the top three": np.array([-3.6, -3.1, -2.6, -2.1, -1.6, -1.1, -0.4, 0.6]),
    "odd steps only (five)": np.array([-1.6, -0.55, 0.55, 1.6]),
    "three steps, even": np.array([-0.6, 0.6]),
    "three steps, nine looks in ten in one": np.array([-2.4, 1.9]),
    "two steps, one look in ten in the other": np.array([1.65]),
}


def most_likely(
    step: Rows, animal: Rows, grader: Rows, pedigree: Pedigree, size: float, rounds: int = 60
) -> tuple[Numbers, Numbers]:
    """Merits (n,) and cutting points (c - 1,) of the threshold model; step : (r,) from 0; residual variance is one."""
    classes, n = int(step.max()) + 1, len(pedigree)
    graders = int(grader.max()) + 1
    share = np.cumsum(np.bincount(step, minlength=classes))[:-1] / len(step)
    spread = np.sqrt(1 + size)
    points = spread * np.array([quantile(s) for s in share])
    lean, merit = np.zeros(graders), np.zeros(n)
    inverse = pedigree.inverse.toarray() / size
    free = graders - 1  # the first grader's lean is zero, the cutting points carry the mean
    m = classes - 1
    for _ in range(rounds):
        eta = lean[grader] + merit[animal]
        ends = np.concatenate([[-np.inf], points, [np.inf]])
        upper, lower = ends[step + 1] - eta, ends[step] - eta
        chance = np.maximum(ndtr(upper) - ndtr(lower), 1e-12)
        slope = -(density(upper) - density(lower)) / chance  # d log L / d eta
        # expected information over all classes, each look
        high, low = ends[1:] - eta[:, None], ends[:-1] - eta[:, None]
        classes_chance = np.maximum(ndtr(high) - ndtr(low), 1e-12)
        change = density(high) - density(low)
        weight = (change**2 / classes_chance).sum(axis=1)
        at = density(points - eta[:, None])  # (r, m)
        ratio = change / classes_chance
        crossed = at * (ratio[:, :-1] - ratio[:, 1:])  # minus d2 / d point d eta
        inner = np.zeros((m, m))
        precise = 1 / classes_chance
        inner[np.arange(m), np.arange(m)] = (at**2 * (precise[:, :-1] + precise[:, 1:])).sum(axis=0)
        beside = -(at[:, :-1] * at[:, 1:] * precise[:, 1:-1]).sum(axis=0)
        inner[np.arange(m - 1), np.arange(1, m)] = inner[np.arange(1, m), np.arange(m - 1)] = beside
        gradient = np.zeros(m + free + n)
        here = density(points[np.minimum(step, m - 1)] - eta) / chance * (step < m)
        below = density(points[np.maximum(step - 1, 0)] - eta) / chance * (step > 0)
        gradient[:m] = np.bincount(np.minimum(step, m - 1), here, m) - np.bincount(np.maximum(step - 1, 0), below, m)
        gradient[m : m + free] = np.bincount(grader, slope, graders)[1:]
        gradient[m + free :] = np.bincount(animal, slope, n) - inverse @ merit
        matrix = np.zeros((len(gradient),) * 2)
        matrix[:m, :m] = inner
        for c in range(m):
            matrix[c, m : m + free] = -np.bincount(grader, crossed[:, c], graders)[1:]
            matrix[c, m + free :] = -np.bincount(animal, crossed[:, c], n)
        by_both = np.zeros((graders, n))
        np.add.at(by_both, (grader, animal), weight)
        matrix[m : m + free, m : m + free] = np.diag(np.bincount(grader, weight, graders)[1:])
        matrix[m : m + free, m + free :] = by_both[1:]
        matrix[m + free :, m + free :] = inverse + np.diag(np.bincount(animal, weight, n))
        matrix = np.triu(matrix) + np.triu(matrix, 1).T
        step_taken = np.linalg.solve(matrix, gradient)
        step_taken *= min(1.0, 0.5 / np.abs(step_taken).max())
        points = points + step_taken[:m]
        lean[1:] += step_taken[m : m + free]
        merit = merit + step_taken[m + free :]
        if np.abs(step_taken).max() < 1e-8:
            break
    return merit, points


def density(x: Numbers) -> Numbers:
    return np.asarray(np.exp(-(x**2) / 2) / np.sqrt(2 * np.pi))


def quantile(share: float) -> float:
    return float(ndtri(share))


def compared(name: str, seeds: int = 6, animals: int = 600) -> dict[str, Numbers]:
    """Correlations with the true merit, by seed: linear model with its own REML variances, and threshold model."""
    linear, threshold, alike = [], [], []
    for seed in range(seeds):
        nation = made_up(animals, 2 * animals, seed + 1)
        rng = np.random.default_rng([41, seed])
        merit = nation.merit * np.sqrt(HIDDEN.animal / nation.merit.var())
        animal = nation.records.animal
        grader = rng.integers(0, 4, len(animal))
        hidden = merit[animal] + 0.4 * np.array([0, 1, -1, 0.5])[grader] + rng.standard_normal(len(animal))
        step = np.searchsorted(SCALES[name], hidden)
        step = np.unique(step, return_inverse=True)[1]
        records = Records(animal, np.asarray(step + 1, dtype=np.float64), {"grader": grader})
        found = estimate_variances(records, nation.pedigree, permanent=False)
        plain = solve(records, nation.pedigree, found.variances).merit
        ordered, _ = most_likely(step, animal, grader, nation.pedigree, HIDDEN.animal)
        linear.append(np.corrcoef(plain, merit)[0, 1])
        threshold.append(np.corrcoef(ordered, merit)[0, 1])
        alike.append(np.corrcoef(plain, ordered)[0, 1])
    return {"linear": np.array(linear), "threshold": np.array(threshold), "alike": np.array(alike)}


def report() -> str:
    """The table for the handbook, all scales."""
    lines = ["| scale | linear | threshold | gain ± its error | linear with threshold |", "|" + " --- |" * 5]
    for name in SCALES:
        found = compared(name)
        gain = found["threshold"] - found["linear"]
        error = gain.std(ddof=1) / np.sqrt(len(gain))
        means = {key: values.mean() for key, values in found.items()}
        lines.append(
            f"| {name} | {means['linear']:.3f} | {means['threshold']:.3f} | {gain.mean():+.4f} ± {error:.4f} "
            f"| {means['alike']:.4f} |"
        )
    return "\n".join(lines)
