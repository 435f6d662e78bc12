"""How a population stands: how much of its pedigree is known, how fast it turns over, how narrow it has become."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .coefficient import inbreeding_of_checked
from .errors import PedigreeError, in_words
from .flow import Flow
from .pedigree import (
    Numbers,
    Rows,
    checked_inbreeding,
    checked_parents,
    checked_rows,
    generations,
    in_generations,
)


def completeness(sire: ArrayLike, dam: ArrayLike, generations: int) -> Numbers:
    """Index of pedigree completeness over so many generations, shape (n,) float64, 0 (a parent unknown) to 1.

    For each parent's side the mean, over the generations, of the share of ancestors that are known; then the harmonic
    mean of the two sides. Source: MacCluer et al. (1983), Journal of Heredity 74:394-399.
    """
    sire, dam = checked_parents(sire, dam)
    if generations < 1:
        raise PedigreeError(f"Completeness was asked over {generations} generations. Ask for one or more.")
    known = np.append(np.ones(len(sire)), 0.0)  # share known so far back; an unknown animal, row -1, has none
    total = np.zeros(len(sire) + 1)
    for _ in range(generations):
        total += known
        known[:-1] = (known[sire] + known[dam]) / 2
    total /= generations
    both = total[sire] + total[dam]
    return np.divide(2 * total[sire] * total[dam], both, out=np.zeros(len(sire)), where=both > 0)


def equivalent_generations(sire: ArrayLike, dam: ArrayLike) -> Numbers:
    """Equivalent complete generations: sum over known ancestors of 1/2 to the power of their distance, shape (n,).

    Source: Maignel, Boichard and Verrier (1996), Interbull Bulletin 14:49-54.
    """
    sire, dam = checked_parents(sire, dam)
    layers = in_generations(sire, dam)
    parents_known = (layers.sire >= 0) / 2 + (layers.dam >= 0) / 2
    answer = np.empty(len(sire))
    answer[layers.rows] = Flow(layers).down(parents_known)
    return answer


def longest_line(sire: ArrayLike, dam: ArrayLike) -> Rows:
    """Generations to the farthest known ancestor, shape (n,) int64; 0 for a founder."""
    return generations(*checked_parents(sire, dam))


def fully_known_generations(sire: ArrayLike, dam: ArrayLike) -> Rows:
    """Generations back in which every ancestor is known, shape (n,) int64; 0 if a parent is unknown."""
    sire, dam = checked_parents(sire, dam)
    layers = in_generations(sire, dam)
    known = np.zeros(len(layers) + 1, dtype=np.int64)
    known[-1] = -1
    for layer in layers.generations():
        known[layer] = 1 + np.minimum(known[layers.sire[layer]], known[layers.dam[layer]])
    answer = np.empty(len(sire), dtype=np.int64)
    answer[layers.rows] = known[:-1]
    return answer


@dataclass(frozen=True)
class GenerationInterval:
    """Mean age of a parent at the birth of progeny that bred on, for the four paths, in the unit of the dates.

    `interval` is the mean of those paths that have any progeny; `counted` tells how many each has, in the same order.
    A path without progeny is nan.
    """

    sire_son: float
    sire_daughter: float
    dam_son: float
    dam_daughter: float
    interval: float
    counted: tuple[int, ...]


def generation_interval(sire: ArrayLike, dam: ArrayLike, born: ArrayLike) -> GenerationInterval:
    """Generation interval over four paths; born : (n,) birth date as a number (years, say), nan if unknown.

    Sons and daughters are told by their own use as sire or dam, so sex need not be given.
    Source: Rendel and Robertson (1950), Journal of Genetics 50:1-8; James (1977), Genetics Research 30:47-57.
    """
    sire, dam = checked_parents(sire, dam)
    born = np.asarray(born, dtype=np.float64)
    if born.shape != sire.shape:
        raise PedigreeError(f"There are {born.size} birth dates for {len(sire)} rows: give one a row, nan if unknown.")
    means, counts = list[float](), list[int]()  # in the order of the four paths
    for parent in (sire, dam):
        age = born - np.where(parent >= 0, born[parent], np.nan) if len(born) else born
        wrong = np.flatnonzero(age < 0)
        if wrong.size:
            raise PedigreeError(
                f"The animal in {in_words(wrong)} is born before its own parent. Correct one of the dates.", wrong
            )
        for role in (sire, dam):
            bred_on = np.unique(role[role >= 0])
            ages = age[bred_on][~np.isnan(age[bred_on])]
            counts.append(len(ages))
            means.append(float(ages.mean()) if len(ages) else float("nan"))
    seen = [mean for mean, count in zip(means, counts, strict=True) if count]
    interval = sum(seen) / len(seen) if seen else float("nan")
    sire_son, sire_daughter, dam_son, dam_daughter = means
    return GenerationInterval(sire_son, sire_daughter, dam_son, dam_daughter, interval, tuple(counts))


@dataclass(frozen=True)
class EffectiveSize:
    """Realised effective size with its standard error, the mean increase in inbreeding, and the animals behind it.

    size is infinite if nobody is inbred, nan if no animal has more than one equivalent generation.
    """

    size: float
    standard_error: float
    rate: float
    counted: int


def effective_size(
    sire: ArrayLike, dam: ArrayLike, cohort: ArrayLike | None = None, *, inbreeding: ArrayLike | None = None
) -> EffectiveSize:
    """Realised effective size from the individual increase in inbreeding of a cohort (all animals if not given).

    An animal with inbreeding F and t equivalent generations adds dF = 1 - (1 - F) ** (1 / (t - 1)), t - 1 because
    selfing is excluded; the size is 1 / (2 mean dF), its standard error 2 size^2 s(dF) / sqrt(count). Animals with t
    of 1 or less tell nothing and are left out.
    Source: Gutierrez, Cervantes and Goyache (2009), Journal of Animal Breeding and Genetics 126:327-332.
    """
    sire, dam = checked_parents(sire, dam)
    n = len(sire)
    rows = np.arange(n) if cohort is None else checked_rows(cohort, n, "cohort")
    t = equivalent_generations(sire, dam)[rows]
    f = (inbreeding_of_checked(sire, dam) if inbreeding is None else checked_inbreeding(inbreeding, n))[rows]
    deep = t > 1 + 1e-9
    if not deep.any():
        return EffectiveSize(float("nan"), float("nan"), float("nan"), 0)
    increase = 1 - np.clip(1 - f[deep], 0, 1) ** (1 / (t[deep] - 1))
    rate, count = float(increase.mean()), int(deep.sum())
    if rate <= 0:
        return EffectiveSize(float("inf"), float("nan"), 0.0, count)
    size = size_from_rate(rate)
    spread = float(increase.std(ddof=1)) if count > 1 else float("nan")
    return EffectiveSize(size, 2 * size**2 * spread / count**0.5, rate, count)


def size_from_rate(rate: float) -> float:
    """Effective size 1 / (2 rate), rate of inbreeding a generation. Source: Wright (1931), Genetics 16:97-159."""
    return 1 / (2 * rate)


def rate_between(before: float, after: float) -> float:
    """Rate of inbreeding from one generation's mean F to the next: the part newly lost of what was left."""
    return (after - before) / (1 - before)


def size_from_parents(bucks: float, does: float) -> float:
    """Effective size 4 bucks does / (bucks + does) of an unequal number of parents. Source: Wright (1931)."""
    return 4 * bucks * does / (bucks + does)


def size_from_family_variance(parents: float, variance: float) -> float:
    """Effective size (4 parents - 2) / (variance + 2), variance being that of family size. Source: Wright (1938)."""
    return (4 * parents - 2) / (variance + 2)


def size_over_generations(sizes: ArrayLike) -> float:
    """Harmonic mean of the sizes of several generations: the narrowest weighs most. Source: Wright (1938)."""
    sizes = np.asarray(sizes, dtype=np.float64)
    return float(len(sizes) / (1 / sizes).sum())
