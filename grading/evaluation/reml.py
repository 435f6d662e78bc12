"""Variances by restricted maximum likelihood: a few safe rounds, then average information, every step bounded.

A round solves the equations at the present variances, forms the gradient of `grading.evaluation.moments` and steps:

    safe round      K + K (O - T) K / m       (expectation-maximisation: stays positive, climbs slowly)
    Newton round    K + AI^-1 gradient        (average information: fast near the top)

No Newton step moves a variance by more than three tenths of the trait's whole variance, nor takes away more than nine
tenths of it. Where the likelihood is known (small data) a step that lowers it is halved until it does not. A variance,
or for two traits a combination of them, that falls to a millionth of the whole is held there and said to be zero as
long as the gradient points below. The rounds end when one more is expected to gain less than `GAIN` of log likelihood.
Source: Gilmour, Thompson and Cullis (1995), Biometrics 51:1440-1450; Dempster, Laird and Rubin (1977) (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import chain

import numpy as np

from .data import Numbers
from .design import Design
from .equations import MOST_DENSE, Answer, Equations
from .errors import EvaluationError
from .moments import Draws, Moments, direction, effects, expected, found, information, parameters

SAFE_ROUNDS = 2
MOST_ROUNDS = 60
GAIN_EXACT, GAIN_SAMPLED = 1e-9, 1e-4
FLOOR = 1e-6
LARGEST_STEP = 0.3
TOLERANCE = 1e-6
HALVINGS = 12

Progress = Callable[[int, Moments], None]


@dataclass(frozen=True, eq=False)
class Fit:
    """Where the rounds ended; covariance (p, p) of the estimates, slope (p,) gradient, floored: what is at zero."""

    covariances: Moments
    parameters: list[tuple[str, int, int]]
    covariance: Numbers
    slope: Numbers
    floored: dict[str, Numbers]
    log_likelihood: float | None
    rounds: int
    converged: bool
    exact: bool
    draws: int


@dataclass(frozen=True, eq=False)
class Place:
    """One round's variances, with what was found there."""

    covariances: Moments
    log_likelihood: float | None
    gradient: Moments
    information: Numbers
    noise: Numbers  # covariance of the gradient from drawing
    started: tuple[Answer | None, Answer | None]


def draws_for(size: int) -> int:
    """How many draws for so many equations: the error they add is 1 / sqrt(draws) of the standard error or less."""
    return 24 if size <= 15_000 else 16 if size <= 150_000 else 8


def fit(
    design: Design,
    start: Moments,
    names: list[str],
    *,
    exact: bool | None = None,
    progress: Progress | None = None,
) -> Fit:
    """Climb from `start`; names : the covariances estimated, those not named stay zero."""
    covariances = floored_all(start, names)
    equations = Equations(design, covariances)
    exact = equations.size <= MOST_DENSE if exact is None else exact
    draws = None if exact else Draws(design, draws_for(equations.size))
    gain = GAIN_EXACT if exact else GAIN_SAMPLED
    best: Place | None = None
    step: Moments = {}
    started: tuple[Answer | None, Answer | None] = (None, None)
    halved, rounds, converged, held = 0, 0, False, dict[str, Numbers]()
    while rounds < MOST_ROUNDS:
        rounds += 1
        place = look_around(design, covariances, names, draws, started)
        started = place.started
        if progress is not None:
            progress(rounds, covariances)
        if best is not None and worse(place, best, gain) and halved < HALVINGS:
            halved += 1
            step = {name: change / 2 for name, change in step.items()}
            covariances = stepped(best.covariances, step, names)
            continue
        best, halved = place, 0
        held = at_zero(place, names)
        newton, expected_gain = newton_step(place, names, held)
        if expected_gain < gain:
            converged = True
            break
        step = safe_step(design, place, names) if rounds <= SAFE_ROUNDS else newton
        covariances = stepped(place.covariances, step, names)
    assert best is not None
    return Fit(
        best.covariances,
        parameters(design.traits, names),
        uncertainty(best, design.traits, names),
        slopes(best.gradient, design.traits, names),
        held,
        best.log_likelihood,
        rounds,
        converged,
        exact,
        0 if draws is None else draws.columns,
    )


def look_around(
    design: Design,
    covariances: Moments,
    names: list[str],
    draws: Draws | None,
    started: tuple[Answer | None, Answer | None],
) -> Place:
    """Likelihood, gradient and information at these variances."""
    equations = Equations(design, covariances, dense=draws is None)
    p = len(parameters(design.traits, names))
    if draws is None:
        wanted = expected(equations, names)
        answer = equations.solve([equations.sums(design.value)])
        seen = found(equations, [design.value], answer, names)[0]
        likelihood: float | None = log_likelihood(equations, answer)
        noise = np.zeros((p, p))
    else:
        drawn = [equations.sums(looks) for looks in draws.all_looks(covariances)]
        answer = equations.solve([equations.sums(design.value), *drawn], started[0], TOLERANCE)
        seen, *sampled = found(equations, chain([design.value], draws.all_looks(covariances)), answer, names)
        wanted = {name: np.mean([moments[name] for moments in sampled], axis=0) for name in names}
        each = np.array([slopes(moments, design.traits, names) for moments in sampled])
        noise = np.atleast_2d(np.cov(each.T)) / draws.columns
        likelihood = None
    gradient = {name: seen[name] - wanted[name] for name in names}
    info, worked = information(equations, answer, names, started[1], TOLERANCE if draws else 1e-10)
    if not all(np.isfinite(part).all() for part in (*gradient.values(), info)):
        raise EvaluationError("The variances could not be estimated: the numbers grew beyond all bounds on the way.")
    return Place(covariances, likelihood, gradient, info, noise, (answer, worked))


def log_likelihood(equations: Equations, answer: Answer) -> float:
    """Restricted log likelihood with all constants; fixed levels count as kept, one column each."""
    design, covariances = equations.design, equations.covariances
    equations.inverse()
    seen = ~design.missing
    freedom = int(seen.sum()) - design.rank
    twice = freedom * np.log(2 * np.pi) + equations.log_determinant
    for pattern in design.patterns:
        inside = covariances["residual"][np.ix_(pattern.seen, pattern.seen)]
        twice += pattern.animals.sum() * log_det(inside)
    if equations.animal is not None:
        twice += design.animals * log_det(covariances["animal"])
        twice += design.traits * float(np.log(design.pedigree.mendelian).sum())
    if equations.q:
        twice += design.litters * log_det(covariances["litter"])
    if equations.spread is not None:
        looked_at = design.looks.any(axis=1)
        twice += int(looked_at.sum()) * log_det(covariances["permanent"])
        twice -= float(np.linalg.slogdet(equations.spread[looked_at])[1].sum())
    weighted = equations.weighted(design.value)
    fitted = design.fitted(answer.fixed[:, 0], answer.litter[:, 0], answer.animal[:, 0] + answer.permanent[:, 0])
    return float(-(twice + np.vdot(weighted, design.value - fitted)) / 2)


def log_det(matrix: Numbers) -> float:
    return float(np.linalg.slogdet(matrix)[1])


def slopes(moments: Moments, traits: int, names: list[str]) -> Numbers:
    """<dK, moments> / 2 for every parameter, (p,)."""
    return np.array([np.vdot(direction(k, m, traits), moments[name]) / 2 for name, k, m in parameters(traits, names)])


def newton_step(place: Place, names: list[str], held: dict[str, Numbers]) -> tuple[Moments, float]:
    """AI^-1 gradient, with the combinations that are held at zero not moved, and the gain it promises."""
    traits = len(place.covariances["residual"])
    every = parameters(traits, names)
    slope = slopes(place.gradient, traits, names)
    rules = np.array(
        [
            [np.vdot(direction(k, m, traits), np.outer(v, v)) * (name == of) for name, k, m in every]
            for of, v in held.items()
        ]
    ).reshape(-1, len(every))
    scale = 1.0 / np.sqrt(np.maximum(np.diag(place.information), 1e-300))
    info = place.information * np.outer(scale, scale) + 1e-10 * np.eye(len(every))
    rules = rules * scale
    size = len(every) + len(rules)
    system = np.zeros((size, size))
    system[: len(every), : len(every)] = info
    system[len(every) :, : len(every)] = rules
    system[: len(every), len(every) :] = rules.T
    moved = np.linalg.lstsq(system, np.append(slope * scale, np.zeros(len(rules))), rcond=1e-13)[0]
    change = moved[: len(every)] * scale
    return packed(change, traits, names), abs(float(slope @ change)) / 2


def packed(change: Numbers, traits: int, names: list[str]) -> Moments:
    step: Moments = {name: np.zeros((traits, traits)) for name in names}
    for (name, k, m), size in zip(parameters(traits, names), change, strict=True):
        step[name] += size * direction(k, m, traits)
    return step


def safe_step(design: Design, place: Place, names: list[str]) -> Moments:
    return {
        name: place.covariances[name] @ place.gradient[name] @ place.covariances[name] / effects(design, name)
        for name in names
    }


def whole(covariances: Moments) -> Numbers:
    """Standard deviation of one look of each trait, (t,)."""
    return np.asarray(np.sqrt(sum(np.diag(matrix) for matrix in covariances.values())))


def stepped(covariances: Moments, step: Moments, names: list[str]) -> Moments:
    """Variances after a bounded step."""
    scale = whole(covariances)
    unit = np.outer(scale, scale)
    longest = max(float(np.abs(np.linalg.eigvalsh(step[name] / unit)).max()) for name in names)
    shorter = min(1.0, LARGEST_STEP / longest) if longest > 0 else 1.0
    after = dict(covariances)
    for name in names:
        least = float(np.linalg.eigvalsh(covariances[name] / unit)[0])
        after[name] = floored(covariances[name] + shorter * step[name], scale, max(FLOOR, least / 10))
    return after


def floored(matrix: Numbers, scale: Numbers, least: float) -> Numbers:
    """The nearest matrix whose eigenvalues, in units of the whole variance, are not below `least`."""
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    inside = (vectors * np.maximum(values, least)) @ vectors.T
    return np.asarray((inside + inside.T) / 2 * np.outer(scale, scale))


def floored_all(start: Moments, names: list[str]) -> Moments:
    scale = whole(start)
    return {name: floored(matrix, scale, 1e-3) if name in names else matrix for name, matrix in start.items()}


def at_zero(place: Place, names: list[str]) -> dict[str, Numbers]:
    """The covariances held at the floor, each with the combination of traits (t,) that has no variance."""
    scale = whole(place.covariances)
    held = {}
    for name in names:
        values, vectors = np.linalg.eigh(place.covariances[name] / np.outer(scale, scale))
        flat = vectors[:, 0] / scale  # the combination, as weights on the traits
        pull = (vectors[:, 0] * scale) @ place.gradient[name] @ (vectors[:, 0] * scale)
        if values[0] < 3 * FLOOR and pull < 0 and name != "residual":
            held[name] = flat
    return held


def worse(place: Place, best: Place, gain: float) -> bool:
    if place.log_likelihood is None or best.log_likelihood is None:
        return False
    return place.log_likelihood < best.log_likelihood - max(gain, 1e-10 * abs(best.log_likelihood))


def uncertainty(place: Place, traits: int, names: list[str]) -> Numbers:
    """Covariance of the estimates: inverse information, and what the drawing adds."""
    inverse = np.linalg.pinv(place.information, hermitian=True, rcond=1e-12)
    return np.asarray(inverse + inverse @ place.noise @ inverse)
