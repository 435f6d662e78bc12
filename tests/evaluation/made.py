"""Looks made up with known truth, all from a seed."""

from dataclasses import dataclass

import numpy as np

from grading.evaluation import Pedigree, Records

from ..kinship.gallery import random_pedigree


@dataclass
class Club:
    """A pedigree with years of birth, herds and litters, one row an animal."""

    pedigree: Pedigree
    born: np.ndarray
    herd: np.ndarray
    litter: np.ndarray


def breed(rng, years=5, herds=3, does=6, bucks=2, kits=4, lend=True):
    """Each year every herd mates some of the year before; bucks are lent from herd to herd, or not."""
    sire, dam, born, herd, litter = [], [], [], [], []
    parents = {h: [] for h in range(herds)}
    for h in range(herds):
        for _ in range(does + bucks):
            parents[h].append(len(sire))
            add(sire, dam, born, herd, litter, -1, -1, 1, h, -1)
    litters = 0
    for year in range(2, years + 1):
        lent = [animal for h in range(herds) for animal in parents[h][:bucks]]
        after = {h: [] for h in range(herds)}
        for h in range(herds):
            for doe in parents[h][bucks:]:
                buck = int(rng.choice(lent if lend else parents[h][:bucks]))
                for _ in range(kits):
                    after[h].append(len(sire))
                    add(sire, dam, born, herd, litter, buck, doe, year, h, litters)
                litters += 1
        for h in range(herds):
            young = list(rng.permutation(after[h]))
            parents[h] = [int(animal) for animal in young[: does + bucks]]
    return Club(Pedigree(np.array(sire), np.array(dam)), np.array(born), np.array(herd), np.array(litter))


def tiny(seed):
    """A few looks of two traits at a few animals, of any kind that may come: alike, confounded, missing, unlinked."""
    rng = np.random.default_rng(seed)
    n, r = int(rng.integers(1, 40)), int(rng.integers(1, 80))
    pedigree = Pedigree(*random_pedigree(rng, n, unknown=rng.choice([0.1, 0.5, 1.0])))
    animal, kind = rng.integers(0, n, r), rng.integers(0, 4)
    value = rng.integers(1, 10, (2, r)).astype(float) if kind else rng.integers(4, 6, (2, r)).astype(float)
    if kind == 2:
        value += rng.normal(0, 3, n)[animal]
    if kind == 3:
        value[1] = value[0]
    value[:, rng.random(r) < 0.1] = np.nan
    if rng.random() < 0.5:
        value[1, rng.random(r) < 0.5] = np.nan
    fixed = {"grader": rng.integers(-1, rng.integers(1, 8), r)}
    if rng.random() < 0.5:
        fixed["herd"] = rng.integers(0, 6, r)
    litter = rng.integers(-1, max(1, n // 4), n)[animal] if rng.random() < 0.6 else None
    return pedigree, *(Records(animal, steps, fixed, litter) for steps in value)


def add(sire, dam, born, herd, litter, *values):
    for column, value in zip((sire, dam, born, herd, litter), values, strict=True):
        column.append(value)


def merits(rng, pedigree, size, move=None):
    """True merits down the pedigree, (n,) or (n, t); `move` (n,) shifts each Mendelian part, as choosing would."""
    size = np.atleast_2d(size)
    new = rng.standard_normal((len(pedigree), len(size))) @ np.linalg.cholesky(size).T
    new *= np.sqrt(pedigree.mendelian)[:, None]
    if move is not None:
        new += move[:, None]
    true = np.zeros_like(new)
    for row in pedigree.layers.rows:
        parents = [true[p] / 2 for p in (pedigree.sire[row], pedigree.dam[row]) if p >= 0]
        true[row] = new[row] + sum(parents)
    return true[:, 0] if len(size) == 1 else true


def looked_at(rng, club, true, permanent=0.2, residual=0.8, looks=2, graders=4, lean=0.5, litter=0.0):
    """Looks at every animal by graders chosen at random, who lean to one side, in two coat stages."""
    animal = np.repeat(np.arange(len(club.pedigree)), looks)
    grader, coat = rng.integers(0, graders, len(animal)), rng.integers(0, 2, len(animal))
    value = 5 + true[animal] + 0.4 * coat + lean * rng.standard_normal(graders)[grader]
    value += (np.sqrt(permanent) * rng.standard_normal(len(club.pedigree)))[animal]
    value += np.append(np.sqrt(litter) * rng.standard_normal(club.litter.max() + 1), 0.0)[club.litter[animal]]
    value += np.sqrt(residual) * rng.standard_normal(len(animal))
    return Records(animal, value, {"grader": grader, "coat stage": coat}, club.litter[animal])
