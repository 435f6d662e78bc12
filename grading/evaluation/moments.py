"""What the looks say about each variance, and what they would say if the variances were right.

For a covariance matrix K of t traits, with u its effects, U their known structure and P = V^-1 less its fixed part,

    found      O = K^-1 (u' U^-1 u) K^-1                  summed squares of the predicted effects
    expected   T = K^-1 (m K - tr(U^-1 C)) K^-1           C: prediction error covariances of u, m: number of effects

and for the residual, with e what is left of each look and E its precision, O = sum E e e' E, T = sum E - E Q E, where Q
is the prediction error covariance of the look's fitted value. The gradient of the restricted log likelihood is
<dK, O - T> / 2. T is exact from the inverse of the equations where that fits in memory. Above, it is the mean of O over
looks drawn from the model itself: no drawing of y can have an expectation other than T. The same draws serve every
round, so that the rounds settle. (Drawing in opposite pairs gains nothing here: O is the same for y and for -y.)

Average information: with w_i = dV_i P y, half of w_i' P w_j.
Source: Gilmour, Thompson and Cullis (1995), Biometrics 51:1440-1450; Patterson and Thompson (1971), Biometrika
58:545-554; sampled expectations: Garcia-Cortes et al. (1992), Matilainen et al. (2013) (all from memory).
"""

from collections.abc import Iterable, Iterator

import numpy as np
from scipy import sparse

from pedigrees.kinship.flow import Flow

from .data import Numbers
from .design import Design
from .equations import Answer, Equations, blocks, product

SEED = 20240229

Moments = dict[str, Numbers]  # animal, litter, permanent, residual: (t, t) each


def parameters(traits: int, names: list[str]) -> list[tuple[str, int, int]]:
    """Every free number of every covariance matrix: name, row, column."""
    return [(name, k, m) for name in names for k in range(traits) for m in range(k, traits)]


def direction(k: int, m: int, traits: int) -> Numbers:
    """dK for the parameter at row k, column m."""
    change = np.zeros((traits, traits))
    change[k, m] = change[m, k] = 1.0
    return change


def column_of(answer: Answer, k: int) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Fixed, litter, animal, permanent solutions of one column, (rows, t) each."""
    fixed, litter, animal, permanent = (
        np.ascontiguousarray(part[:, k]) for part in (answer.fixed, answer.litter, answer.animal, answer.permanent)
    )
    return fixed, litter, animal, permanent


def left_over(design: Design, value: Numbers, answer: Answer, k: int) -> Numbers:
    """Residuals of one column, (r, t)."""
    fixed, litter, animal, permanent = column_of(answer, k)
    return np.asarray(value - design.fitted(fixed, litter, animal + permanent))


def found(equations: Equations, looks: Iterable[Numbers], answer: Answer, names: list[str]) -> list[Moments]:
    """O of every column of looks, in the order of the answer's columns."""
    design, covariances = equations.design, equations.covariances
    squares: dict[str, Numbers] = {}
    if "animal" in names:
        squares["animal"] = crossed(answer.animal, product(design.pedigree.inverse, answer.animal))
    if "litter" in names:
        squares["litter"] = crossed(answer.litter, answer.litter)
    if "permanent" in names:
        squares["permanent"] = crossed(answer.permanent, answer.permanent)
    moments: list[Moments] = []
    for k, value in enumerate(looks):
        weighted = equations.weighted(left_over(design, value, answer, k))
        of_column: Moments = {"residual": weighted.T @ weighted}
        for name, squared in squares.items():
            inverse = inverted(covariances[name])
            of_column[name] = inverse @ squared[k] @ inverse
        moments.append(of_column)
    return moments


def crossed(one: Numbers, other: Numbers) -> Numbers:
    """Summed products of the traits of each column, (k, t, t)."""
    return np.asarray(np.einsum("mks,mkt->kst", one, other))


def inverted(matrix: Numbers) -> Numbers:
    return np.asarray(np.linalg.inv(matrix))


def effects(design: Design, name: str) -> int:
    """How many effects of a kind there are."""
    looked_at = int(design.looks.any(axis=1).sum())
    return {"animal": design.animals, "litter": design.litters, "permanent": looked_at, "residual": len(design)}[name]


def expected(equations: Equations, names: list[str]) -> Moments:
    """T, exactly, from the dense inverse."""
    t, n, q = equations.design.traits, equations.design.animals, equations.q
    covariances, error = equations.covariances, equations.inverse()
    through = permanent_through_others(equations)
    moments = {}
    for name in names:
        traced = np.zeros((t, t))
        if name == "residual":
            moments[name] = expected_residual(equations, through)
            continue
        if name == "animal":
            inverse = equations.design.pedigree.inverse.tocoo()
            block = error[-n * t :, -n * t :]
            for k in range(t):
                for m in range(t):
                    traced[k, m] = inverse.data @ block[inverse.row * t + k, inverse.col * t + m]
        elif name == "litter":
            first = len(error) - (n * (equations.animal is not None) + q) * t
            for k in range(t):
                for m in range(t):
                    places = first + t * np.arange(q)
                    traced[k, m] = error[places + k, places + m].sum()
        else:
            assert equations.spread is not None
            assert through is not None
            traced = equations.spread.sum(axis=0) + between(through, error, t)
        precise = inverted(covariances[name])
        moments[name] = effects(equations.design, name) * precise - precise @ traced @ precise
    return moments


def permanent_through_others(equations: Equations) -> sparse.csr_array | None:
    """S Z'E [X L Z]: how the permanent effects answer the others, (n t, equations)."""
    if equations.spread is None:
        return None
    return sparse.csr_array(blocks(equations.spread) @ equations.animal_rows()[:, equations.used()])


def between(rows: sparse.csr_array, error: Numbers, t: int) -> Numbers:
    """Sum over animals of row_k C row_m', (t, t); rows : (n t, equations)."""
    total = np.zeros((t, t))
    for k in range(t):
        across = rows[k::t] @ error
        for m in range(t):
            total[k, m] = rows[m::t].multiply(across).sum()
    return total


def expected_residual(equations: Equations, through: sparse.csr_array | None) -> Numbers:
    t, error, used = equations.design.traits, equations.inverse(), equations.used()
    total = np.zeros((t, t))
    for pattern, precise in equations.by_pattern():
        fitted = np.zeros((t, t))
        if equations.spread is not None:
            fitted += np.tensordot(pattern.animals, equations.spread, 1)
        counts, rows = pattern.counts, pattern.rows_of_animals
        for k in range(t):
            for m in range(t):
                met = placed(counts, k, m, t)[used][:, used]
                if through is not None:
                    of_k, of_m = through[k::t], through[m::t]
                    rows_k, rows_m = placed_columns(rows, k, t)[:, used], placed_columns(rows, m, t)[:, used]
                    looks = sparse.diags_array(pattern.animals)
                    met = met - rows_k.T @ of_m - of_k.T @ rows_m + of_k.T @ (looks @ of_m)
                pairs = met.tocoo()
                fitted[k, m] += pairs.data @ error[pairs.row, pairs.col]
        total += pattern.animals.sum() * precise - precise @ fitted @ precise
    return total


def placed(counts: sparse.csr_array, k: int, m: int, t: int) -> sparse.csr_array:
    """Counts of every pair at rows of trait k and columns of trait m."""
    single = sparse.coo_array(([1.0], ([k], [m])), shape=(t, t))
    return sparse.csr_array(sparse.kron(counts, single, format="csr"))


def placed_columns(rows: sparse.csr_array, k: int, t: int) -> sparse.csr_array:
    single = sparse.coo_array(([1.0], ([0], [k])), shape=(1, t))
    return sparse.csr_array(sparse.kron(rows, single, format="csr"))


def information(
    equations: Equations, answer: Answer, names: list[str], start: Answer | None, tolerance: float
) -> tuple[Numbers, Answer]:
    """Average information of the parameters, (p, p), and the answers to the working looks, to start from next time."""
    design, t = equations.design, equations.design.traits
    _, litter, animal, permanent = column_of(answer, 0)
    residual = equations.weighted(left_over(design, design.value, answer, 0))
    work = []
    for name, k, m in parameters(t, names):
        change = direction(k, m, t)
        if name == "residual":
            work.append((residual @ change) * ~design.missing)
            continue
        turned = inverted(equations.covariances[name]) @ change
        part = {"animal": animal, "litter": litter, "permanent": permanent}[name] @ turned
        zero = np.zeros((design.columns, t))
        if name == "litter":
            work.append(design.fitted(zero, part, np.zeros_like(animal)) * ~design.missing)
        else:
            work.append(design.fitted(zero, None, part) * ~design.missing)
    solved = equations.solve([equations.sums(w) for w in work], start, tolerance)
    matrix = np.empty((len(work), len(work)))
    for j, w in enumerate(work):
        weighted = equations.weighted(left_over(design, w, solved, j))
        matrix[:, j] = [np.vdot(other, weighted) / 2 for other in work]
    return (matrix + matrix.T) / 2, solved


class Draws:
    """Looks drawn from the model, the same standard normal numbers in every round."""

    def __init__(self, design: Design, columns: int, seed: int = SEED) -> None:
        self.design, self.columns, self.seed = design, columns, seed
        pedigree, t = design.pedigree, design.traits
        layers = pedigree.layers
        new = np.stack([self.normal(k, 0, design.animals) for k in range(columns)], axis=1)
        new *= np.sqrt(pedigree.mendelian)[:, None, None]
        merits: Numbers = Flow(layers).down(new[layers.rows].reshape(len(layers), -1))
        self.merits = np.empty_like(new)
        self.merits[layers.rows] = merits.reshape(-1, columns, t)

    def normal(self, column: int, kind: int, size: int) -> Numbers:
        return np.random.default_rng([self.seed, column, kind]).standard_normal((size, self.design.traits))

    def effects(self, covariances: Moments, column: int) -> tuple[Numbers, Numbers, Numbers]:
        """Merits (n, t), permanent effects (n, t) and litters (q, t) of one draw."""
        merits = self.merits[:, column] @ root(covariances["animal"])
        permanent = self.normal(column, 1, self.design.animals) @ root(covariances["permanent"])
        return merits, permanent, self.normal(column, 2, self.design.litters) @ root(covariances["litter"])

    def looks(self, covariances: Moments, column: int) -> Numbers:
        """(r, t) of one draw, fixed effects zero, what was not seen zero."""
        design = self.design
        merits, permanent, litters = self.effects(covariances, column)
        value = self.normal(column, 3, len(design)) @ root(covariances["residual"])
        value += design.fitted(np.zeros((design.columns, design.traits)), litters, merits + permanent)
        value[design.missing] = 0.0
        return value

    def all_looks(self, covariances: Moments) -> Iterator[Numbers]:
        return (self.looks(covariances, column) for column in range(self.columns))


def root(matrix: Numbers) -> Numbers:
    """Upper R with R'R = matrix, also where that is singular."""
    if len(matrix) == 1:
        return np.asarray(np.sqrt(matrix))
    values, vectors = np.linalg.eigh(matrix)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)
