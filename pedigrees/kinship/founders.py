"""Where a cohort's genes came from: founders, the ancestors that mattered, and how much of it is left.

An unknown parent of an animal whose other parent is known counts as a founder of its own. It has no row, so its share
is told at the row of the progeny through which it came in; shares of a cohort always add up to one.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .flow import Flow
from .pedigree import (
    Layers,
    Mask,
    Numbers,
    Rows,
    ancestors_in_generations,
    checked_parents,
    checked_rows,
    in_generations,
    places_of,
)
from .relationship import mean_coancestry


def founder_contributions(sire: ArrayLike, dam: ArrayLike, cohort: ArrayLike) -> Numbers:
    """Share of the cohort's genes that entered the pedigree at each row, shape (n,) float64, sum 1.

    A founder's row has the founder's share; a row with one unknown parent has the share of that parent; all others 0.
    cohort : (k,) rows, each counted as often as it is listed; an empty one gives zeros.
    Source: James (1972), Theoretical and Applied Genetics 42:272-273; Lacy (1989), Zoo Biology 8:111-123.
    """
    sire, dam = checked_parents(sire, dam)
    cohort = checked_rows(cohort, len(sire), "cohort")
    layers, place = ancestors_in_generations(sire, dam, cohort)
    unknown = (layers.sire < 0).astype(np.int64) + (layers.dam < 0)
    shares = np.zeros(len(sire))
    shares[layers.rows] = Flow(layers).up(shares_of(place[cohort], len(layers))) * unknown / 2
    return shares


def effective_founders(sire: ArrayLike, dam: ArrayLike, cohort: ArrayLike) -> float:
    """How many founders with equal shares would leave as much variety as these; nan for an empty cohort.

    One over the sum of squared shares. Source: Lacy (1989), Zoo Biology 8:111-123.
    """
    shares = founder_contributions(sire, dam, cohort)
    return one_over(float(shares @ shares))


@dataclass(frozen=True)
class Ancestors:
    """The ancestors that explain a cohort, greatest marginal share first.

    rows : (k,) row. unknown : (k,) true where not the row itself is meant but its unknown parent.
    share : (k,) part of the cohort's genes that no ancestor before it in the list accounts for; sums to 1 if complete.
    """

    rows: Rows
    unknown: Mask
    share: Numbers


def ancestor_contributions(
    sire: ArrayLike, dam: ArrayLike, cohort: ArrayLike, *, at_most: int | None = None
) -> Ancestors:
    """Founders or not, the ancestors through whom the cohort's genes came, by marginal share; members count as well.

    Each round takes the ancestor with the largest share not explained yet (of equals the elder: earlier generation,
    then lower row, unknown parents after founders), and cuts it off from its own parents. A round is one pass up and
    one down the pedigree; `at_most` ends it after so many.
    Source: Boichard, Maignel and Verrier (1997), Genetics Selection Evolution 29:5-23.
    """
    sire, dam = checked_parents(sire, dam)
    cohort = checked_rows(cohort, len(sire), "cohort")
    known, place = ancestors_in_generations(sire, dam, cohort)
    children = np.flatnonzero((known.sire < 0) != (known.dam < 0))
    children = children[np.argsort(known.rows[children])]  # of equal unknown parents that of the lower row comes first
    layers = with_parents_for(known, children)
    own = shares_of(places_of(layers.rows, len(layers))[place[cohort]], len(layers))
    flow = Flow(layers)
    chosen = np.zeros(len(layers), dtype=bool)
    picked, shares, left = list[int](), list[float](), 1.0 if len(cohort) else 0.0
    while left > 1e-12 and (at_most is None or len(picked) < at_most):
        marginal = passed_on(flow, own, chosen) * (1 - explained(flow, chosen))
        best = int(np.flatnonzero(marginal >= marginal.max() - 1e-12)[0])
        chosen[best] = True
        picked.append(best)
        shares.append(float(marginal[best]))
        left -= shares[-1]
    found = layers.rows[np.array(picked, dtype=np.int64)]
    unknown = found >= len(known)
    found[unknown] = children[found[unknown] - len(known)]
    return Ancestors(known.rows[found], unknown, np.array(shares))


def effective_ancestors(sire: ArrayLike, dam: ArrayLike, cohort: ArrayLike) -> float:
    """How many ancestors with equal shares would leave as much variety; bottlenecks make it smaller than founders.

    One over the sum of squared marginal shares; nan for an empty cohort.
    Source: Boichard, Maignel and Verrier (1997), Genetics Selection Evolution 29:5-23.
    """
    share = ancestor_contributions(sire, dam, cohort).share
    return one_over(float(share @ share))


def founder_genomes(
    sire: ArrayLike, dam: ArrayLike, cohort: ArrayLike, *, inbreeding: ArrayLike | None = None
) -> float:
    """Founder genome equivalents: founders whose genes, none lost, would leave as much variety; nan for no cohort.

    One over twice the mean coancestry, each animal with itself too. Source: Lacy (1989), Zoo Biology 8:111-123.
    """
    return one_over(2 * mean_coancestry(sire, dam, cohort, inbreeding=inbreeding))


def with_parents_for(layers: Layers, children: Rows) -> Layers:
    """The same pedigree with a founder of its own, put last, for the one unknown parent of each of `children`."""
    m, more = len(layers), len(children)
    sire, dam = (np.append(parent, np.full(more, -1)) for parent in (layers.sire, layers.dam))
    for parent in (sire, dam):
        lacks = parent[children] < 0
        parent[children[lacks]] = m + np.flatnonzero(lacks)
    return in_generations(sire, dam)


def passed_on(flow: Flow, own: Numbers, cut: Mask) -> Numbers:
    """Share of the cohort's genes that went through each ancestor, if those that are cut have no parents."""
    through, onward = own.copy(), np.where(cut, 0.0, own)
    for layer, progeny in flow.up_steps:
        through[layer] += progeny @ onward
        onward[layer] = np.where(cut[layer], 0.0, through[layer])
    return through


def explained(flow: Flow, chosen: Mask) -> Numbers:
    """Share of each animal's genes that came from the chosen ancestors."""
    share = chosen.astype(np.float64)
    for layer, parents in flow.down_steps:
        share[layer] = np.where(chosen[layer], 1.0, parents @ share)
    return share


def shares_of(cohort: Rows, m: int) -> Numbers:
    """Each member's part of the cohort, shape (m,)."""
    return np.bincount(cohort, minlength=m) / max(1, len(cohort))


def one_over(x: float) -> float:
    return 1 / x if x > 0 else float("nan")
