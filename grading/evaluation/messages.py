"""Reliability without fixed effects, by passing messages up and down the pedigree; used where no inverse fits.

Everything is a precision (information) in units of 1 / additive variance. For animal i, own[i] comes from its looks and
below[i] adds its progeny. A mating k of sire s and dam d, with kits i of Mendelian variance m[i], tells

    of its parents' mean     P[k] = sum over kits of 1 / (1 / below[i] + m[i])
    of the sire              1/4 / (1 / P[k] + V[d] / 4)       V[d]: variance of the dam by all but this mating
    of a kit from above      1 / (m[i] + 1 / (P[k] - its own part + 4 / (V[s] + V[d])))

Up from the youngest generation, down from the eldest, three times. Exact where no two lines of descent meet again;
kits of one mating are counted together, so that litters are no loop. Related parents are taken as unrelated.
Source: the idea of Tier and Meyer (2004), J. Anim. Breed. Genet. 121:77-89, and Misztal and Wiggans (1988), J. Dairy
Sci. 71 (Suppl. 2):27-32 (from memory); the message form is the sum-product rule for normal variables.
"""

import numpy as np

from .data import Numbers, Pedigree

SWEEPS = 3
NEXT_TO_NOTHING = 1e-12


def passed(pedigree: Pedigree, own: Numbers) -> Numbers:
    """Precision of each animal's merit from its own looks (n,) `own` and those of all relatives, (n,)."""
    layers = pedigree.layers
    n = len(layers)
    sire, dam = layers.sire, layers.dam
    mendelian = pedigree.mendelian[layers.rows]
    own = own[layers.rows]
    child = np.flatnonzero((sire >= 0) | (dam >= 0))
    key, mating = np.unique((sire[child] + 1) * (n + 1) + dam[child] + 1, return_inverse=True)
    of_sire, of_dam = key // (n + 1) - 1, key % (n + 1) - 1
    born = np.zeros(len(key), dtype=np.int64)
    born[mating] = np.searchsorted(layers.bounds, child, side="right") - 1
    order = np.argsort(born, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    of_sire, of_dam, mating = of_sire[order], of_dam[order], place[mating]
    mating_of = np.full(n, -1)
    mating_of[child] = mating
    ends = np.searchsorted(born[order], np.arange(len(layers.bounds)))
    above = np.append(1.0 / (1.0 + pedigree.inbreeding[layers.rows]), np.inf)  # the last stands for unknown parents
    below = np.append(own, 0.0)
    to_sire, to_dam, pooled = (np.zeros(len(key)) for _ in range(3))
    part = np.zeros(n)
    generations = layers.generations()
    for _ in range(SWEEPS):
        for g in range(len(generations) - 1, 0, -1):
            kits, here = generations[g], slice(ends[g], ends[g + 1])
            known = np.maximum(below[kits], NEXT_TO_NOTHING)
            part[kits] = 1.0 / (1.0 / known + mendelian[kits])
            pooled[here] = np.bincount(mating_of[kits] - ends[g], part[kits], minlength=ends[g + 1] - ends[g])
            s, d = of_sire[here], of_dam[here]
            unsure_s, unsure_d = (
                1.0 / (above[parent] + below[parent] - told[here]) for parent, told in ((s, to_sire), (d, to_dam))
            )
            fresh_s = 0.25 / (1.0 / pooled[here] + unsure_d / 4)
            fresh_d = 0.25 / (1.0 / pooled[here] + unsure_s / 4)
            np.add.at(below, s, fresh_s - to_sire[here])
            np.add.at(below, d, fresh_d - to_dam[here])
            below[-1] = 0.0
            to_sire[here], to_dam[here] = np.where(s >= 0, fresh_s, 0.0), np.where(d >= 0, fresh_d, 0.0)
        for g in range(1, len(generations)):
            kits, k = generations[g], mating_of[generations[g]]
            s, d = of_sire[k], of_dam[k]
            parents = 0.25 / (above[s] + below[s] - to_sire[k]) + 0.25 / (above[d] + below[d] - to_dam[k])
            of_mean = 1.0 / parents + np.maximum(pooled[k] - part[kits], 0.0)
            above[kits] = 1.0 / (mendelian[kits] + 1.0 / of_mean)
    precision = np.empty(n)
    precision[layers.rows] = above[:-1] + below[:-1]
    return precision
