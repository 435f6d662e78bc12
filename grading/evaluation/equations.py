"""The mixed model equations, small ones as a dense matrix, large ones never formed.

With E the residual precision of a look, the equations for fixed effects b, litters l, animals a and permanent p are

    [X'EX   X'EL        X'EZ             X'EZ        ] [b]   [X'Ey]
    [       L'EL + Q    L'EZ             L'EZ        ] [l] = [L'Ey]        Q = litter^-1, H = permanent^-1,
    [                   Z'EZ + A^-1 G    Z'EZ        ] [a]   [Z'Ey]        G = animal^-1
    [                                    Z'EZ + H    ] [p]   [Z'Ey]

Permanent effects touch only their own animal, so they are taken out exactly: S = (Z'EZ + H)^-1 is one (t, t) matrix an
animal, and p = S (Z'Ey - Z'EX b - Z'EL l - Z'EZ a). Fixed effects are taken out by a Cholesky factor of their block.
What is left, l and a, is solved by conjugate gradients with one (t, t) block an animal and a litter before it. Where
there are thousands of fixed levels (a grader and year each), the first effect's are solved among them, g, and only the
others are taken out.
Source: Henderson (1976), Biometrics 32:69-83; Stranden and Lidauer (1999), J. Dairy Sci. 82:2779-2787 (from memory).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import linalg, sparse

from .data import Mask, Numbers
from .design import Design, Pattern, cholesky
from .gradients import conjugate
from .small import each_inverse, inverse_or_zero, mixed, mixed_each

MOST_DENSE = 3000  # equations solved and inverted as a dense matrix
TOLERANCE = 1e-10
MOST_ROUNDS = 2000

Covariances = Mapping[str, Numbers]  # animal, permanent, litter, residual: (t, t) each


@dataclass(frozen=True, eq=False)
class Answer:
    """Solutions for k columns of data: fixed (columns, k, t), litter (q, k, t), animal and permanent (n, k, t)."""

    fixed: Numbers
    litter: Numbers
    animal: Numbers
    permanent: Numbers
    rounds: int
    residual: float
    converged: bool


class Equations:
    """The equations of a design with given covariances."""

    def __init__(self, design: Design, covariances: Covariances, *, dense: bool | None = None) -> None:
        self.design, self.covariances = design, covariances
        n, t = design.animals, design.traits
        self.precision = [pattern.precision(covariances["residual"]) for pattern in design.patterns]
        self.animal = inverse_or_zero(covariances["animal"])
        self.litter = inverse_or_zero(covariances["litter"]) if design.litters else None
        self.q: int = design.litters if self.litter is not None else 0
        self.patterns = design.patterns
        if design.litters and not self.q:
            self.patterns = [replace(pattern, by_litter=None, levels_by_litter=None) for pattern in design.patterns]
        permanent = inverse_or_zero(covariances["permanent"])
        self.own: Numbers = np.zeros((n, t, t))  # Z'EZ
        for pattern, precise in self.by_pattern():
            self.own += pattern.animals[:, None, None] * precise
        self.spread: Numbers | None = None  # S, zero for animals without looks
        if permanent is not None:
            spread = each_inverse(self.own + permanent)
            spread[~self.own.any(axis=(1, 2))] = 0.0
            self.spread = spread
        # with p taken out: I - Z'EZ S, and Z'EZ - Z'EZ S Z'EZ
        self.remaining: Numbers = np.zeros((n, t, t)) + np.eye(t)
        self.reduced = self.own
        if self.spread is not None:
            self.remaining -= self.own @ self.spread if t > 1 else self.own * self.spread
            self.reduced = self.remaining @ self.own if t > 1 else self.remaining * self.own
        self.kept = design.kept.ravel()  # of (columns, t)
        if dense is None:
            dense = self.size <= MOST_DENSE
        self.dense = dense
        self.inner: int = 0 if dense else design.iterated  # fixed levels, the first ones, that go through the rounds
        self.outer = self.kept.copy()  # of (columns, t): those taken out by their factor
        self.outer[: self.inner * t] = False
        self.inner_kept = design.kept[: self.inner, None, :]
        self._fixed_factor: tuple[Numbers, bool] | None = None
        self._blocks: Numbers | None = None
        self._inverse: Numbers | None = None
        self._factor: tuple[Numbers, bool] | None = None
        self.log_determinant: float | None = None  # of `matrix`, known once it has been factored

    @property
    def size(self) -> int:
        """Equations left when the permanent effects are taken out."""
        animals = self.design.animals if self.animal is not None else 0
        return self.design.rank + (self.q + animals) * self.design.traits

    # -- right-hand sides ------------------------------------------------------------------------------------------

    def weighted(self, value: Numbers) -> Numbers:
        """E y of each look, (r, t)."""
        out = np.zeros_like(value)
        for pattern, precise in self.by_pattern():
            out[pattern.rows] = mixed(value[pattern.rows], precise)
        return out

    def sums(self, value: Numbers) -> tuple[Numbers, Numbers, Numbers]:
        """X'Ey, L'Ey, Z'Ey of one column of data (r, t)."""
        return self.design.summed(self.weighted(value))

    def solve(
        self,
        sums: list[tuple[Numbers, Numbers, Numbers]],
        start: Answer | None = None,
        tolerance: float = TOLERANCE,
    ) -> Answer:
        """Answers for several right-hand sides at once, each made by `sums`."""
        fixed, litter, animal = (np.stack([part[i] for part in sums], axis=1) for i in range(3))
        own = animal
        if self.spread is not None:  # what is left of the sums when p is taken out
            p = mixed_each(animal, self.spread)
            fixed = fixed - self.levels_of(p)
            litter = litter - self.litters_of(p) if self.q else litter
            animal = animal - mixed_each(p, self.own)
        solver = self.solve_dense if self.dense else self.solve_gradients
        b, born, a, rounds, residual, converged = solver(fixed, litter[: self.q], animal, start, tolerance)
        p = np.zeros_like(a)
        if self.spread is not None:
            p = mixed_each(own - self.seen_by_animal(b, born, a), self.spread)
        if not self.q:
            born = np.zeros_like(litter)
        return Answer(b, born, a, p, rounds, residual, converged)

    # -- products with counts --------------------------------------------------------------------------------------

    def seen_by_animal(self, b: Numbers | None, born: Numbers | None, a: Numbers | None) -> Numbers:
        """Z'E (X b + L l + Z a), (n, k, t)."""
        total: Numbers | None = None
        for pattern, precise in self.by_pattern():
            part: Numbers | None = None
            if b is not None:
                part = product(pattern.by_level, b)
            if born is not None and self.q:
                by_litter = product(pattern.by_litter, born)
                part = by_litter if part is None else part + by_litter
            if part is not None:
                total = add(total, mixed(part, precise))
        if a is not None:
            total = add(total, mixed_each(a, self.own))
        assert total is not None
        return total

    def levels_of(self, animals: Numbers, litters: Numbers | None = None, levels: Numbers | None = None) -> Numbers:
        """X'E (Z a + L l + X b), (columns, k, t)."""
        total = np.zeros((self.design.columns, *animals.shape[1:]))
        for pattern, precise in self.by_pattern():
            part = product(pattern.by_level.T, animals)
            if litters is not None and self.q:
                part = part + product(pattern.levels_by_litter, litters)
            if levels is not None:
                part = part + product(pattern.levels, levels)
            total += mixed(part, precise)
        return total

    def litters_of(self, animals: Numbers, levels: Numbers | None = None) -> Numbers:
        """L'E (Z a + X b), (q, k, t)."""
        total = np.zeros((self.q, *animals.shape[1:]))
        for pattern, precise in self.by_pattern():
            assert pattern.by_litter is not None
            assert pattern.levels_by_litter is not None
            part = product(pattern.by_litter.T, animals)
            if levels is not None:
                part = part + product(pattern.levels_by_litter.T, levels)
            total += mixed(part, precise)
        return total

    def fixed_block(self) -> Numbers:
        """X'EX less what the permanent effects take, of the kept levels that are taken out, dense."""
        total = summed(self.spread_over(pattern.levels, precise) for pattern, precise in self.by_pattern())
        total = total.tocsr()[self.outer][:, self.outer]
        if self.spread is not None:
            rows = summed(self.spread_over(pattern.by_level, precise) for pattern, precise in self.by_pattern())
            rows = rows.tocsc()[:, self.outer].tocsr()
            total = total - rows.T @ (blocks(self.spread) @ rows)
        return np.asarray(total.toarray())

    # -- large: conjugate gradients --------------------------------------------------------------------------------

    def best_fixed(self, sums: Numbers) -> Numbers:
        """Fixed effects taken out that answer sums (columns, k, t); all other levels are zero."""
        out = np.zeros((sums.shape[0] * sums.shape[2], sums.shape[1]))
        if self.outer.any():
            if self._fixed_factor is None:
                self._fixed_factor = cholesky(self.fixed_block())
            columns = sums.transpose(0, 2, 1).reshape(out.shape)
            out[self.outer] = linalg.cho_solve(self._fixed_factor, columns[self.outer], check_finite=False)
        return out.reshape(sums.shape[0], sums.shape[2], sums.shape[1]).transpose(0, 2, 1)

    def left(self, x: Numbers) -> Numbers:
        """The equations left, fixed and permanent effects taken out, times x (inner + q + n, k, t)."""
        g, born, a = self.parted(x)
        plain = mixed_each(a, self.remaining)  # a + p, where p answers a
        through, b = plain, g
        along = bool(self.q or self.inner)
        if along:
            seen = self.seen_by_animal(g, born, None)
            through = self.less_permanent(plain, seen)
        if self.design.columns:
            out_of = -self.best_fixed(self.levels_of(through, born, g))
            b = out_of if g is None else g + out_of
            by_levels = self.seen_by_animal(out_of, None, None)
            through = self.less_permanent(through, by_levels) if along else through
            seen = add(seen, by_levels) if along else by_levels
        first = self.inner + self.q
        out = np.empty_like(x)
        if self.animal is not None:
            out[first:] = mixed(product(self.design.pedigree.inverse, a), self.animal)
            out[first:] += mixed_each(a, self.reduced)
            if along or self.design.columns:
                out[first:] += mixed_each(seen, self.remaining.transpose(0, 2, 1))
        if self.inner:
            out[: self.inner] = self.levels_of(through, born, b)[: self.inner] * self.inner_kept
        if self.q:
            assert self.litter is not None
            litters = self.litters_of(through, b) + mixed(born, self.litter)
            for pattern, precise in self.by_pattern():
                litters += pattern.litters[:, None, None] * mixed(born, precise)
            out[self.inner : first] = litters
        return out

    def parted(self, x: Numbers) -> tuple[Numbers | None, Numbers, Numbers]:
        """Fixed levels (columns, k, t) solved by rounds, litters and animals of x; without a variance animals are 0."""
        first = self.inner + self.q
        levels: Numbers | None = None
        if self.inner:
            levels = np.zeros((self.design.columns, *x.shape[1:]))
            levels[: self.inner] = x[: self.inner]
        animals = x[first:] if self.animal is not None else np.zeros((self.design.animals, *x.shape[1:]))
        return levels, x[self.inner : first], animals

    def less_permanent(self, a: Numbers, seen: Numbers) -> Numbers:
        """a + p, where p answers what is seen of the other effects."""
        return a if self.spread is None else a - mixed_each(seen, self.spread)

    def preconditioner(self) -> Numbers:
        """Inverse (t, t) blocks of fixed levels, litters and animals, (inner + q + n, t, t)."""
        if self._blocks is None:
            own = self.reduced if self.animal is not None else self.reduced[:0]
            if self.animal is not None:
                own = own + self.design.pedigree.inverse.diagonal()[:, None, None] * self.animal
            if self.q:
                assert self.litter is not None
                litter = np.zeros((self.q, *own.shape[1:])) + self.litter
                for pattern, precise in self.by_pattern():
                    litter += pattern.litters[:, None, None] * precise
                own = np.concatenate([litter, own])
            self._blocks = each_inverse(own)
            if self.inner:
                self._blocks = np.concatenate([self.inverse_of_levels(), self._blocks])
        return self._blocks

    def inverse_of_levels(self) -> Numbers:
        """(inner, t, t) inverse blocks of the levels solved by rounds; zero for a trait that a level never saw."""
        t = self.design.traits
        own = np.zeros((self.inner, t, t))
        for pattern, precise in self.by_pattern():
            own += pattern.levels.diagonal()[: self.inner, None, None] * precise
            if t == 1 and self.spread is not None:  # with two traits the looks' patterns mix, and it is left out
                taken = pattern.by_level.power(2).T @ (self.spread[:, 0, 0] * precise[0, 0] ** 2)
                own[:, 0, 0] -= taken[: self.inner]
        here = self.inner_kept.transpose(0, 2, 1) * self.inner_kept
        return np.asarray(np.linalg.pinv(own * here, hermitian=True))

    def solve_gradients(
        self, fixed: Numbers, litter: Numbers, animal: Numbers, start: Answer | None, tolerance: float
    ) -> tuple[Numbers, Numbers, Numbers, int, float, bool]:
        inner, first = self.inner, self.inner + self.q
        at_zero = self.best_fixed(fixed)
        rhs = np.concatenate([fixed[:inner], litter, animal if self.animal is not None else animal[:0]])
        if self.design.columns:
            seen = self.seen_by_animal(at_zero, None, None)
            through = np.zeros_like(animal)
            if self.spread is not None:
                through = -mixed_each(seen, self.spread)
                seen = seen + mixed_each(through, self.own)
            if self.animal is not None:
                rhs[first:] -= seen
            if self.q:
                rhs[inner:first] -= self.litters_of(through, at_zero)
            if inner:
                rhs[:inner] = (rhs[:inner] - self.levels_of(through, None, at_zero)[:inner]) * self.inner_kept
        x0: Numbers | None = None
        if start is not None:
            x0 = np.concatenate([start.fixed[:inner], start.litter[: self.q], start.animal])[: len(rhs)]
        inverse = self.preconditioner()
        found = conjugate(self.left, lambda r: mixed_each(r, inverse), rhs, x0, tolerance, MOST_ROUNDS)
        g, born, a = self.parted(found.x)
        b = at_zero
        if self.design.columns:
            seen = self.seen_by_animal(g, born, a)
            b = at_zero - self.best_fixed(self.levels_of(self.less_permanent(a, seen), born, g))
            b = b if g is None else b + g
        return b, born, a, found.rounds, found.residual, found.converged

    # -- small: dense ----------------------------------------------------------------------------------------------

    def used(self) -> Mask:
        """Which of the (columns + q + n) t equations there are: kept levels, litters and animals with a variance."""
        t, n = self.design.traits, self.design.animals
        return np.concatenate(
            [self.kept, np.ones(self.q * t, dtype=bool), np.full(n * t, self.animal is not None, dtype=bool)]
        )

    def animal_rows(self) -> sparse.csr_array:
        """Z'E [X L Z], (n t, all equations)."""
        return summed(self.spread_over(pattern.rows_of_animals, precise) for pattern, precise in self.by_pattern())

    @cached_property
    def matrix(self) -> sparse.csr_array:
        """All equations but those of the permanent effects, sparse, in the order levels, litters, animals."""
        design, q, t = self.design, self.q, self.design.traits
        total = summed(self.spread_over(pattern.counts, precise) for pattern, precise in self.by_pattern())
        if self.spread is not None:
            rows = self.animal_rows()
            total = total - rows.T @ (blocks(self.spread) @ rows)
        if q and self.litter is not None:
            total = total + at_places(sparse.eye_array(q), self.litter, design.columns, total.shape[0], t)
        if self.animal is not None:
            total = total + at_places(design.pedigree.inverse, self.animal, design.columns + q, total.shape[0], t)
        used = self.used()
        return sparse.csr_array(total.tocsr()[used][:, used])

    def by_pattern(self) -> Iterator[tuple[Pattern, Numbers]]:
        return zip(self.patterns, self.precision, strict=True)

    @staticmethod
    def spread_over(counts: sparse.sparray, precise: Numbers) -> sparse.csr_array:
        """kron(counts, precise): the same counts for every pair of traits."""
        return sparse.csr_array(sparse.kron(counts, sparse.coo_array(precise), format="csr"))

    def factor(self) -> tuple[Numbers, bool]:
        """Cholesky factor of `matrix`, dense; only for small equations."""
        if self._factor is None:
            self._factor = cholesky(self.matrix.toarray())
            self.log_determinant = 2 * float(np.log(np.diag(self._factor[0])).sum())
        return self._factor

    def inverse(self) -> Numbers:
        """Dense inverse of `matrix`: prediction error (co)variances; only for small equations."""
        if self._inverse is None:
            factor, _ = self.factor()
            self._factor = None  # the inverse is written over it
            inverse, failed = linalg.lapack.dpotri(factor, lower=1, overwrite_c=1)
            assert not failed
            low = np.tril(inverse, -1)
            self._inverse = inverse - np.triu(inverse, 1) + low.T
        return self._inverse

    def solve_dense(
        self, fixed: Numbers, litter: Numbers, animal: Numbers, start: Answer | None, tolerance: float
    ) -> tuple[Numbers, Numbers, Numbers, int, float, bool]:
        t, k = self.design.traits, fixed.shape[1]
        used = self.used()
        rhs = np.concatenate([fixed, litter, animal]).transpose(0, 2, 1).reshape(-1, k)
        found = np.zeros_like(rhs)
        matrix = self.matrix
        if self._inverse is not None:
            found[used] = self._inverse @ rhs[used]
        elif used.any():
            found[used] = linalg.cho_solve(self.factor(), rhs[used], check_finite=False)
        gap = np.linalg.norm(matrix @ found[used] - rhs[used], axis=0)
        size = np.linalg.norm(rhs[used], axis=0)
        residual = float((gap / np.where(size > 0, size, 1.0)).max(initial=0.0))
        out = found.reshape(-1, t, k).transpose(0, 2, 1)
        columns, q = self.design.columns, self.q
        return out[:columns], out[columns : columns + q], out[columns + q :], 0, residual, residual < 1e-6


def product(matrix: sparse.csr_array | None, x: Numbers) -> Numbers:
    """Sparse matrix times x (m, k, t)."""
    assert matrix is not None
    return np.asarray((matrix @ x.reshape(len(x), x.shape[1] * x.shape[2])).reshape(matrix.shape[0], *x.shape[1:]))


def add(total: Numbers | None, part: Numbers) -> Numbers:
    if total is None:
        return part
    total += part
    return total


def summed(parts: Iterator[sparse.csr_array]) -> sparse.csr_array:
    total = next(parts)
    for part in parts:
        total = total + part
    return total


def blocks(matrices: Numbers) -> sparse.bsr_array:
    """Block diagonal matrix of (n, t, t)."""
    n = len(matrices)
    return sparse.bsr_array((matrices, np.arange(n), np.arange(n + 1)))


def at_places(matrix: sparse.sparray, small: Numbers, first: int, size: int, t: int) -> sparse.coo_array:
    """kron(matrix, small) with its first equation at place `first`, inside a matrix of `size` equations."""
    part = sparse.kron(matrix, sparse.coo_array(small), format="coo")
    return sparse.coo_array((part.data, (part.row + first * t, part.col + first * t)), shape=(size, size))
