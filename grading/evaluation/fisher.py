"""Expected information of the variances, for data small enough to write out the covariance of every two looks.

Entry (i, j) is tr(P dV_i P dV_j) / 2. It does not depend on what was seen, only on who saw whom.
Source: Patterson and Thompson (1971), Biometrika 58:545-554 (from memory).
"""

import numpy as np

from .data import Numbers
from .design import Design
from .moments import Moments, direction, parameters

MOST_LOOKS = 1500


def small_enough(design: Design) -> bool:
    return bool(len(design) * design.traits <= MOST_LOOKS)


def expected_information(design: Design, covariances: Moments, names: list[str]) -> Numbers:
    """(p, p) for the parameters of `names`, one row a free number of each covariance matrix."""
    look, trait = np.nonzero(~design.missing)
    likeness = {name: likeness_of_looks(design, name)[np.ix_(look, look)] for name in names}
    total = sum(likeness[name] * covariances[name][np.ix_(trait, trait)] for name in names)
    levels = np.zeros((len(look), design.columns * design.traits))
    for factor in design.factors:
        levels[np.arange(len(look)), factor.column[look] * design.traits + trait] = 1.0
    levels = levels[:, design.kept.ravel()]
    precise = np.linalg.inv(total)
    through = precise @ levels
    projected = precise - through @ np.linalg.solve(levels.T @ through, through.T)
    work = [
        projected @ (likeness[name] * direction(k, m, design.traits)[np.ix_(trait, trait)])
        for name, k, m in parameters(design.traits, names)
    ]
    return np.array([[np.vdot(one, other.T) / 2 for one in work] for other in work])


def likeness_of_looks(design: Design, name: str) -> Numbers:
    """Covariance of every two looks through one kind of effect, in units of its variance, (r, r)."""
    animal, litter = design.animal, design.litter
    if name == "animal":
        return np.asarray(np.linalg.inv(design.pedigree.inverse.toarray())[np.ix_(animal, animal)])
    if name == "permanent":
        return np.asarray(animal[:, None] == animal, dtype=np.float64)
    if name == "litter":
        return np.asarray((litter[:, None] == litter) & (litter >= 0), dtype=np.float64)
    return np.eye(len(design))
