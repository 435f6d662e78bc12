"""Which look belongs to which animal, litter and fixed level, counted once so that no later step reads single looks.

With t traits (one or two) a look has a pattern: which of its traits were seen. For each pattern c the design holds,
over the looks of that pattern, n_c looks an animal, N_c looks an animal and fixed level, and the like for litters.
Everything the equations need is made of these counts and of the (t, t) residual precision E_c of the pattern.

Rank: among the levels of each trait, later ones that are sums of those before are set to zero and named. Levels count
in order for the first fixed effect and backwards for the others, so that their lowest code is the one set to zero.
"""

from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import linalg, sparse

from .data import Mask, Numbers, Pedigree, Records, Rows
from .errors import AboutLevels, EvaluationError, WrongInput

MOST_ABSORBED = 3000  # fixed levels whose block is written out; beyond, the first effect is solved by rounds
DEPENDENT = 1e-9  # of a level's own looks, left after the levels before it
BLOCK = 64


@dataclass(frozen=True, eq=False)
class Factor:
    """One fixed effect: `column` (r,) of each look among all columns; `level` (m,) code of each of its own."""

    name: str
    column: Rows
    level: Rows
    first: int
    traits: tuple[int, ...]

    def table(self, solutions: Numbers) -> Numbers:
        """Solutions by code: entry c belongs to code c, the last entry to code -1 where that occurs; unseen ones 0."""
        by_code = np.zeros(int(self.level.max(initial=-1)) + 1 + int((self.level < 0).any()))
        by_code[self.level] = solutions[self.first : self.first + len(self.level)]
        return by_code


@dataclass(frozen=True, eq=False)
class Pattern:
    """Looks with the same traits seen: rows (r_c,), the traits, and the counts of the module's opening."""

    rows: Rows | slice
    seen: Mask
    animals: Numbers
    by_level: sparse.csr_array
    by_litter: sparse.csr_array | None
    levels: sparse.csr_array
    levels_by_litter: sparse.csr_array | None
    litters: Numbers

    def precision(self, residual: Numbers) -> Numbers:
        """E: inverse residual covariance of the traits seen, zero elsewhere; (t, t)."""
        precise = np.zeros_like(residual)
        seen = np.ix_(self.seen, self.seen)
        precise[seen] = np.linalg.inv(residual[seen])
        return (precise + precise.T) / 2

    @cached_property
    def counts(self) -> sparse.csr_array:
        """How often two of levels, litters, animals meet in these looks, (columns + q + n,) twice."""
        animals = sparse.diags_array(self.animals)
        if self.by_litter is None or self.levels_by_litter is None:
            return stacked([[self.levels, self.by_level.T], [self.by_level, animals]])
        return stacked(
            [
                [self.levels, self.levels_by_litter, self.by_level.T],
                [self.levels_by_litter.T, sparse.diags_array(self.litters), self.by_litter.T],
                [self.by_level, self.by_litter, animals],
            ]
        )

    @cached_property
    def rows_of_animals(self) -> sparse.csr_array:
        """Looks by animal and level, litter, animal; (n, columns + q + n)."""
        litters = [] if self.by_litter is None else [self.by_litter]
        return stacked([[self.by_level, *litters, sparse.diags_array(self.animals)]])


class Design:
    """Everything about the looks that does not depend on the variances."""

    def __init__(self, traits: Sequence[Records], pedigree: Pedigree) -> None:
        self.pedigree = pedigree
        self.warnings: list[str] = []
        value = np.stack([records.value for records in traits], axis=1)
        missing = np.isnan(value)
        graded: Mask = np.asarray(~missing.all(axis=1))
        first = traits[0]
        if left_out := int((~graded).sum()):
            have = "has no step of this trait and was" if left_out == 1 else "have no step of this trait and were"
            self.warnings.append(f"{left_out:,} of {len(first):,} looks {have} left out.")
        if not graded.any():
            raise EvaluationError("No look has a step of this trait, so there is nothing to evaluate.")
        within(first.animal, pedigree)
        self.graded = graded
        self.animal = first.animal[graded]
        self.missing = missing[graded]
        self.value = np.where(self.missing, 0.0, value[graded])
        self.traits: int = value.shape[1]
        self.factors = list(gathered([records.fixed for records in traits], graded))
        self.columns = sum(len(factor.level) for factor in self.factors)
        self.iterated = len(self.factors[0].level) if self.columns > MOST_ABSORBED else 0
        if self.columns - self.iterated > MOST_ABSORBED:
            raise EvaluationError(
                f"The fixed effects after the first have {self.columns - self.iterated} levels; at most "
                f"{MOST_ABSORBED} can be fitted. Give the largest effect first, or join levels."
            )
        self.litter, self.litter_codes = numbered_litters([records.litter for records in traits], graded)
        self.litters = len(self.litter_codes)
        self.patterns = self.counted()
        self.looks: Numbers = np.zeros((self.animals, self.traits))
        for pattern in self.patterns:
            self.looks += np.outer(pattern.animals, pattern.seen)
        self.kept = self.independent()

    def __len__(self) -> int:
        return len(self.animal)

    def without_fixed(self) -> "Design":
        """The same looks with no fixed effect."""
        plain = copy(self)
        plain.factors, plain.columns, plain.kept = [], 0, np.zeros((0, self.traits), dtype=bool)
        plain.iterated = 0
        n, q = self.animals, self.litters
        plain.patterns = [
            replace(
                pattern,
                by_level=sparse.csr_array((n, 0)),
                levels=sparse.csr_array((0, 0)),
                levels_by_litter=sparse.csr_array((0, q)) if q else None,
            )
            for pattern in self.patterns
        ]
        return plain

    @property
    def animals(self) -> int:
        return len(self.pedigree)

    @property
    def rank(self) -> int:
        return int(self.kept.sum())

    def counted(self) -> list[Pattern]:
        pattern = self.missing @ (1 << np.arange(self.traits))
        return [
            self.counted_for(
                slice(None) if not code and not pattern.any() else np.flatnonzero(pattern == code), int(code)
            )
            for code in np.unique(pattern)
        ]

    def counted_for(self, rows: Rows | slice, code: int) -> Pattern:
        animal, n, levels, q = self.animal[rows], self.animals, self.columns, self.litters
        columns = [factor.column[rows] for factor in self.factors]
        litter = np.flatnonzero(self.litter[rows] >= 0)
        born, born_animal = self.litter[rows][litter], animal[litter]
        return Pattern(
            rows,
            np.array([not code >> trait & 1 for trait in range(self.traits)]),
            np.bincount(animal, minlength=n).astype(np.float64),
            pair_counts([(animal, column) for column in columns], (n, levels)),
            pair_counts([(born_animal, born)], (n, q)) if q else None,
            pair_counts([(one, other) for one in columns for other in columns], (levels, levels)),
            pair_counts([(column[litter], born) for column in columns], (levels, q)) if q else None,
            np.bincount(born, minlength=q).astype(np.float64),
        )

    def independent(self) -> Mask:
        """(columns, t): the fixed levels of each trait that are not sums of others.

        Levels of the first effect never meet in one look, so they are taken out of the others by a division.
        """
        kept = np.zeros((self.columns, self.traits), dtype=bool)
        for trait in range(self.traits):
            used = [factor for factor in self.factors if trait in factor.traits]
            if not used:
                continue
            counts = self.level_counts(trait)
            own = counts.diagonal()
            first = self.columns_of(used[:1])
            kept[first, trait] = own[first] > 0
            if len(used) > 1:
                others = np.concatenate([self.columns_of([factor])[::-1] for factor in used[1:]])
                rest = without(counts, first, others)
                kept[independent_columns(rest, others, own[others]), trait] = True
            self.say_dropped(used, kept[:, trait], own > 0, trait)
        return kept

    @staticmethod
    def columns_of(factors: Sequence[Factor]) -> Rows:
        return np.concatenate([np.arange(factor.first, factor.first + len(factor.level)) for factor in factors])

    def level_counts(self, trait: int) -> sparse.csr_array:
        """How often two fixed levels meet in looks with this trait, (columns, columns)."""
        counts = sparse.csr_array((self.columns, self.columns))
        for pattern in self.patterns:
            if pattern.seen[trait]:
                counts = counts + pattern.levels
        return sparse.csr_array(counts)

    def solved_levels(self, trait: int, sums: Numbers) -> Numbers:
        """Levels (columns, k) that answer sums (columns, k) over the looks with this trait; not kept ones are zero."""
        counts, kept = self.level_counts(trait), self.kept[:, trait]
        levels = np.zeros_like(sums)
        used = [factor for factor in self.factors if trait in factor.traits]
        if not used:
            return levels
        first = self.columns_of(used[:1])
        first = first[kept[first]]
        others = np.setdiff1d(np.flatnonzero(kept), first)
        own = counts.diagonal()[first][:, None]
        if len(others):
            across = counts[others][:, first]
            rest = without(counts, first, others)
            levels[others] = linalg.cho_solve(cholesky(rest), sums[others] - across @ (sums[first] / own))
            levels[first] = (sums[first] - across.T @ levels[others]) / own
        else:
            levels[first] = sums[first] / own
        return levels

    def say_dropped(self, used: list[Factor], kept: Mask, seen: Mask, trait: int) -> None:
        which = f" of trait {trait + 1}" if self.traits > 1 else ""
        for number, factor in enumerate(used):
            columns = slice(factor.first, factor.first + len(factor.level))
            dropped = factor.level[~kept[columns] & seen[columns]]
            if len(dropped) > (1 if number else 0):
                sentence = (
                    f"Levels {listed(dropped)} of {factor.name}{which} cannot all be told apart from other fixed "
                    "effects; they were set to zero, and differences to them mean nothing by themselves."
                )
                codes = tuple(int(code) for code in np.sort(dropped))
                self.warnings.append(AboutLevels(sentence, factor.name, codes, trait))

    def fitted(self, levels: Numbers, litters: Numbers | None, animals: Numbers) -> Numbers:
        """(r, t) sums of effects at each look: levels (columns, t), litters (q, t), animals (n, t)."""
        total = animals[self.animal]
        for factor in self.factors:
            total += levels[factor.column]
        if litters is not None and self.litters:
            total += np.append(litters, np.zeros((1, self.traits)), axis=0)[self.litter]
        return np.asarray(total)

    def summed(self, weighted: Numbers) -> tuple[Numbers, Numbers, Numbers]:
        """Sums over looks of (r, t) numbers by fixed level (columns, t), litter (q, t) and animal (n, t)."""
        levels, litters = np.zeros((self.columns, self.traits)), np.zeros((self.litters, self.traits))
        animals = np.zeros((self.animals, self.traits))
        born = slice(None) if self.litters and self.litter.min() >= 0 else np.flatnonzero(self.litter >= 0)
        for trait in range(self.traits):
            weights = weighted[:, trait]
            for factor in self.factors:
                levels[:, trait] += np.bincount(factor.column, weights, self.columns)
            if self.litters:
                litters[:, trait] = np.bincount(self.litter[born], weights[born], self.litters)
            animals[:, trait] = np.bincount(self.animal, weights, self.animals)
        return levels, litters, animals


def within(animal: Rows, pedigree: Pedigree) -> None:
    """Refuses looks (r,) at animals that the pedigree does not have."""
    if animal.max(initial=-1) >= len(pedigree):
        raise WrongInput(f"A look names animal {animal.max()}, but the pedigree has {len(pedigree)} rows, from 0.")


def gathered(effects: Sequence[Mapping[str, Rows]], graded: Mask) -> Iterator[Factor]:
    """The fixed effects of all traits; one that two traits share, code by code, is held once."""
    first, own = 0, list[tuple[str, Rows, tuple[int, ...]]]()
    for trait, fixed in enumerate(effects):
        for name, given in fixed.items():
            shared = next((k for k, (n, g, _) in enumerate(own) if n == name and np.array_equal(g, given)), None)
            if shared is None:
                own.append((name, given, (trait,)))
            else:
                own[shared] = (name, given, (*own[shared][2], trait))
    for name, given, traits in own:
        here = given[graded]
        level, place = np.unique(here, return_inverse=True)
        yield Factor(name, (place + first).astype(np.int32), level, first, traits)
        first += len(level)


def numbered_litters(given: Sequence[Rows | None], graded: Mask) -> tuple[Rows, Rows]:
    """Litter number of each look, -1 for none, and the code of each number."""
    litter = next((codes for codes in given if codes is not None), None)
    if litter is None:
        return np.full(int(graded.sum()), -1), np.zeros(0, dtype=np.int64)
    if any(codes is not None and not np.array_equal(codes, litter) for codes in given):
        raise WrongInput("The two traits name different litters for the same looks. Give the same litter codes.")
    level, place = np.unique(litter[graded], return_inverse=True)
    unknown = int(len(level) > 0 and level[0] < 0)
    return place - unknown, level[unknown:]


def pair_counts(pairs: Sequence[tuple[Rows, Rows]], shape: tuple[int, int]) -> sparse.csr_array:
    """How often row and column occur together."""
    if not pairs:
        return sparse.csr_array(shape)
    row = np.concatenate([one for one, _ in pairs]).astype(np.int32)
    column = np.concatenate([other for _, other in pairs]).astype(np.int32)
    counts = sparse.coo_array((np.ones(len(row)), (row, column)), shape=shape).tocsr()
    counts.sort_indices()
    return counts


def without(counts: sparse.csr_array, first: Rows, others: Rows) -> Numbers:
    """Counts of the other levels, dense, less what the first effect's take; those never meet each other."""
    own = counts.diagonal()[first]
    share = np.divide(1.0, own, out=np.zeros_like(own), where=own > 0)
    across = counts[others][:, first]
    rest: Numbers = counts[others][:, others].toarray()
    return rest - (across @ sparse.diags_array(share) @ across.T).toarray()


def independent_columns(gram: Numbers, names: Rows, own: Numbers | None = None) -> Rows:
    """Names of the columns that are not sums of those before them, from X'X; Cholesky, a block at a time.

    own : (m,) looks of each column, if something was taken out of the diagonal of X'X.
    """
    own = np.diag(gram) if own is None else own
    m = len(gram)
    factor, kept = np.zeros((m, m)), np.zeros(m, dtype=bool)
    for start in range(0, m, BLOCK):
        end = min(start + BLOCK, m)
        rest = gram[start:, start:end] - factor[start:, :start] @ factor[start:end, :start].T
        for j in range(end - start):
            pivot = rest[j, j]
            if pivot <= DEPENDENT * max(own[start + j], 1.0):
                continue
            kept[start + j] = True
            column = rest[:, j] / np.sqrt(pivot)
            column[:j] = 0.0
            factor[start:, start + j] = column
            rest[:, j + 1 :] -= np.outer(column, column[j + 1 : end - start])
    return np.asarray(names[kept])


def stacked(parts: list[list[sparse.sparray]]) -> sparse.csr_array:
    return sparse.csr_array(sparse.block_array(parts, format="csr"))


def listed(codes: Rows, most: int = 8) -> str:
    said = ", ".join(str(int(code)) for code in np.sort(codes)[:most])
    return said if len(codes) <= most else f"{said} and {len(codes) - most} more"


def cholesky(matrix: Numbers) -> tuple[Numbers, bool]:
    """Cholesky factor of a positive matrix as scipy's cho_solve takes it."""
    try:
        factor, lower = linalg.cho_factor(matrix, lower=True, overwrite_a=True, check_finite=False)
    except linalg.LinAlgError:
        raise EvaluationError(
            "The equations have no single answer: some effects cannot be told apart with these variances."
        ) from None
    return factor, bool(lower)
