"""Variances by restricted maximum likelihood: a few safe rounds, then average information, every step bounded.

A round solves the equations at the present variances, forms the gradient of `grading.evaluation.moments` and steps:

    safe round      K + K (O - T) K / m       (expectation-maximisation: stays positive, climbs slowly)
    Newton round    K + AI^-1 gradient        (average information: fast near the top), taken over the root of K

No step moves a variance by more than three tenths of the trait's whole variance. One that comes down to a millionth of
the whole is held there as long as the gradient points below, and so is, for two traits, a combination of them; it is
then said to be zero. Where the likelihood is known (small data) a step that
lowers it is halved until it does not. The rounds end when one more is expected to gain less than `GAIN` of log
likelihood, or when the last few gained nothing at the edge.
Source: Gilmour, Thompson and Cullis (1995), Biometrics 51:1440-1450; Dempster, Laird and Rubin (1977) (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import chain

import numpy as np
from scipy import linalg

from .data import Numbers
from .design import Design
from .equations import MOST_DENSE, Answer, Equations
from .errors import EvaluationError
from .moments import Draws, Moments, direction, effects, expected, found, information, parameters

SAFE_ROUNDS = 2
MOST_ROUNDS = 100
GAIN_EXACT, GAIN_SAMPLED = 1e-12, 1e-4
FLOOR, NEAR_ZERO = 1e-6, 1e-4
LARGEST_STEP = 0.3
FLAT_ROUNDS, FLAT, PATIENT = 5, 1e-7, 40
TOLERANCE = 1e-6
HALVINGS = 12

Move = Callable[[float], Moments]  # the covariances at a part of the way, 0 to 1
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
    move: Move | None = None
    started: tuple[Answer | None, Answer | None] = (None, None)
    halved, halved_before, rounds, converged = 0, 0, 0, False
    climbed: list[float | None] = []
    while rounds < MOST_ROUNDS:
        rounds += 1
        place = look_around(design, covariances, names, draws, started)
        started = place.started
        if progress is not None:
            progress(rounds, covariances)
        if best is not None and worse(place, best, gain) and halved < HALVINGS:
            halved += 1
            assert move is not None
            covariances = move(0.5**halved)
            continue
        if best is not None and worse(place, best, gain):  # no part of that step helps
            place = best
        best, halved, halved_before = place, 0, halved
        newton, expected_gain = newton_step(place, names)
        climbed.append(place.log_likelihood)
        if expected_gain < gain or (flat(climbed) and (at_zero(place, names) or rounds > PATIENT)):
            converged = True
            break
        tired = halved_before >= HALVINGS or expected_gain <= 0
        move = safe_step(design, place, names) if rounds <= SAFE_ROUNDS or tired else newton
        covariances = move(1.0)
    assert best is not None
    return Fit(
        best.covariances,
        parameters(design.traits, names),
        uncertainty(best, design.traits, names),
        slopes(best.gradient, design.traits, names),
        at_zero(best, names),
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
    return -(twice_constants(equations) + squares_left(equations, answer)) / 2


def squares_left(equations: Equations, answer: Answer) -> float:
    """y' P y: what is left of the looks, weighted, when all effects are taken out."""
    design = equations.design
    fitted = design.fitted(answer.fixed[:, 0], answer.litter[:, 0], answer.animal[:, 0] + answer.permanent[:, 0])
    return float(np.vdot(equations.weighted(design.value), design.value - fitted))


def twice_constants(equations: Equations) -> float:
    """The parts of twice the restricted log likelihood, the other way round, that hold no look."""
    design, covariances = equations.design, equations.covariances
    if equations.log_determinant is None:
        equations.factor()
    assert equations.log_determinant is not None
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
    return float(twice)


def log_det(matrix: Numbers) -> float:
    return float(np.linalg.slogdet(matrix)[1])


def slopes(moments: Moments, traits: int, names: list[str]) -> Numbers:
    """<dK, moments> / 2 for every parameter, (p,)."""
    return np.array([np.vdot(direction(k, m, traits), moments[name]) / 2 for name, k, m in parameters(traits, names)])


def newton_step(place: Place, names: list[str]) -> tuple[Move, float]:
    """The move that gains most by the average information, and the gain of log likelihood it promises.

    Each matrix moves as K = L L', from L = V D^(1/2) to V (D^(1/2) + T) with T lower triangular, so that it stays
    positive and may come to rest on the edge, where one of D is zero. With g the gradient and O - T as in `moments`,

        curvature over T = J' AI J + the part of -(O - T) above zero,        J = dK / dT
    """
    traits = len(place.covariances["residual"])
    every, scale = parameters(traits, names), whole(place.covariances)
    turns: list[tuple[str, Numbers, int, int]] = []
    columns, bends = [], []
    for name in names:
        vectors, roots = factors(place.covariances[name], scale)
        pull = -vectors.T @ place.gradient[name] @ vectors
        values, sides = np.linalg.eigh(pull)
        inward = (sides * np.maximum(values, 0.0)) @ sides.T
        entries = [(i, j) for j in range(traits) for i in range(j, traits)]
        entries = [(i, j) for i, j in entries if i != j or roots[i] ** 2 > NEAR_ZERO or pull[i, i] < 0]
        for i, j in entries:
            moved = np.outer(vectors[:, i], vectors[:, j]) * roots[j]
            columns.append([moved[k, m] + moved[m, k] if of == name else 0.0 for of, k, m in every])
            turns.append((name, vectors, i, j))
        bends.append(np.array([[inward[i, h] * (j == g) for h, g in entries] for i, j in entries]))
    jacobian = np.array(columns)
    curvature = jacobian @ place.information @ jacobian.T
    curvature += linalg.block_diag(*[bend for bend in bends if bend.size])
    climb = jacobian @ slopes(place.gradient, traits, names)
    unit = 1.0 / np.sqrt(np.maximum(np.diag(curvature), 1e-300))
    scaled = curvature * np.outer(unit, unit) + 1e-10 * np.eye(len(turns))
    taken = unit * np.linalg.lstsq(scaled, unit * climb, rcond=1e-13)[0]
    taken /= max(1.0, float(np.abs(taken).max()))  # no further than the whole spread of a look
    change: Moments = {name: np.zeros((traits, traits)) for name in names}
    for (name, vectors, i, j), size in zip(turns, taken, strict=True):
        change[name][:, j] += size * vectors[:, i]

    def move(part: float) -> Moments:
        after = {}
        for name in names:
            vectors, roots = factors(place.covariances[name], scale)
            root = vectors * roots + part * change[name]
            after[name] = root @ root.T
        return bounded(place.covariances, after)

    return move, float(climb @ taken) / 2


def factors(matrix: Numbers, scale: Numbers) -> tuple[Numbers, Numbers]:
    """V and D^(1/2) with matrix = V D V', the largest of D first; V is orthogonal in units of the whole variance."""
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    return vectors[:, ::-1] * scale[:, None], np.sqrt(np.maximum(values[::-1], 0.0))


def safe_step(design: Design, place: Place, names: list[str]) -> Move:
    """The move of expectation-maximisation."""

    def move(part: float) -> Moments:
        after = {}
        for name in names:
            size = place.covariances[name]
            after[name] = size + part * (size @ place.gradient[name] @ size) / effects(design, name)
        return bounded(place.covariances, after)

    return move


def whole(covariances: Moments) -> Numbers:
    """Standard deviation of one look of each trait, (t,)."""
    return np.asarray(np.sqrt(sum(np.diag(matrix) for matrix in covariances.values())))


def bounded(before: Moments, after: Moments) -> Moments:
    """`after`, or a place on the way there where that is too far."""
    scale = whole(before)
    unit = np.outer(scale, scale)
    far = max(float(np.abs(np.linalg.eigvalsh((after[name] - before[name]) / unit)).max()) for name in after)
    part = min(1.0, LARGEST_STEP / far) if far > 0 else 1.0
    on_the_way = {name: before[name] + part * (matrix - before[name]) for name, matrix in after.items()}
    return dict(before) | {name: floored(matrix, scale, FLOOR) for name, matrix in on_the_way.items()}


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
        if values[0] < NEAR_ZERO and pull < 0:
            held[name] = flat
    return held


def flat(climbed: list[float | None]) -> bool:
    """Whether the last rounds gained next to nothing, as they do along an edge."""
    last = climbed[-FLAT_ROUNDS:]
    if len(last) < FLAT_ROUNDS or last[0] is None or last[-1] is None:
        return False
    return last[-1] - last[0] < FLAT


def worse(place: Place, best: Place, gain: float) -> bool:
    if place.log_likelihood is None or best.log_likelihood is None:
        return False
    return place.log_likelihood < best.log_likelihood - max(gain, 1e-10 * abs(best.log_likelihood))


def uncertainty(place: Place, traits: int, names: list[str]) -> Numbers:
    """Covariance of the estimates: inverse information, and what the drawing adds."""
    inverse = np.linalg.pinv(place.information, hermitian=True, rcond=1e-12)
    return np.asarray(inverse + inverse @ place.noise @ inverse)
