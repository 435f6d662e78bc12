"""Which variances the looks can tell apart, found from who was seen how often before anything is estimated.

* Without an animal seen twice, its permanent effect and the residual of its one look are the same thing.
* Without two related animals, A is the identity for all that were seen: merit and permanent effect are the same thing.
* Without a litter of which two animals were seen, litter and permanent effect are the same thing.
"""

from dataclasses import dataclass, field

import numpy as np

from .data import Pedigree, Rows
from .design import Design
from .errors import NothingToEstimate


@dataclass
class Separable:
    """The effects whose variances can be estimated, in order, and why others were dropped."""

    names: list[str]
    warnings: list[str] = field(default_factory=list)


def separable(design: Design, *, permanent: bool, litter: bool) -> Separable:
    """Raises NothingToEstimate where not even two variances can be told apart."""
    seen = [int(count) for count in (~design.missing).sum(axis=0)]
    for trait, count in enumerate(seen):
        rank = int(design.kept[:, trait].sum())
        which = f" of trait {trait + 1}" if design.traits > 1 else ""
        if count <= rank + 1:
            raise NothingToEstimate(
                f"{'There is 1 look' if count == 1 else f'There are {count} looks'}{which}, and the fixed effects take "
                f"up {rank} of {'it' if count == 1 else 'them'}, so nothing is left "
                "to estimate variances from. Give more looks, or fewer fixed effects."
            )
    repeated = bool((design.looks > 1).any())
    linked = related(design.pedigree, np.flatnonzero(design.looks.any(axis=1)))
    shared = bool(design.litters) and litter_mates_seen(design)
    if not (repeated or linked or shared):
        raise NothingToEstimate(
            "No animal was seen twice and no two animals seen are related, so what belongs to the animal cannot be "
            "told apart from what belongs to the look. Give second looks, or parents."
        )
    answer = Separable(["animal"])
    if litter and shared:
        answer.names.append("litter")
    elif litter:
        answer.warnings.append(
            "No two animals of one litter were seen, so the litter variance cannot be told apart from the animal's "
            "own; it was dropped."
        )
    if permanent and not repeated:
        answer.warnings.append(
            "No animal was seen twice, so its permanent variance cannot be told apart from the residual; it was "
            "dropped, and the residual holds both."
        )
    elif permanent and not linked:
        answer.warnings.append(
            "No two animals seen are related, so the permanent variance cannot be told apart from the animal "
            "variance; it was dropped, and the heritability given is the repeatability, at most."
        )
    elif permanent:
        answer.names.append("permanent")
    answer.names.append("residual")
    return answer


def related(pedigree: Pedigree, rows: Rows) -> bool:
    """Whether any two of the rows share an ancestor, or one descends from the other."""
    wanted = np.zeros(len(pedigree) + 1, dtype=bool)
    fresh = rows
    while fresh.size:
        wanted[fresh] = True
        parents = np.concatenate([pedigree.sire[fresh], pedigree.dam[fresh]])
        fresh = np.unique(parents[(parents >= 0) & ~wanted[parents]])
    inside = np.flatnonzero(wanted)
    children = np.zeros(len(pedigree) + 1, dtype=np.int64)
    np.add.at(children, pedigree.sire[inside], 1)
    np.add.at(children, pedigree.dam[inside], 1)
    children[-1] = 0
    children[rows] += 1
    return bool((children > 1).any())


def litter_mates_seen(design: Design) -> bool:
    """Whether some litter has looks at two of its animals."""
    born = design.litter >= 0
    pairs = np.unique(np.stack([design.litter[born], design.animal[born]]), axis=1)
    return bool(np.unique(pairs[0]).size < pairs.shape[1])
