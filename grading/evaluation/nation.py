"""A made-up breed of any size with known truth, for measuring: years of litters, graders who lean, several looks."""

from dataclasses import dataclass

import numpy as np

from pedigrees.kinship.flow import Flow

from .data import Numbers, Pedigree, Records, Rows, Variances

YEARS, KITS = 20, 5
TRUTH = Variances(animal=0.5, permanent=0.2, residual=0.8)


@dataclass(frozen=True, eq=False)
class Nation:
    """Pedigree, looks, the true merits (n,) and the year of birth (n,), 0 for founders."""

    pedigree: Pedigree
    records: Records
    merit: Numbers
    born: Rows


def made_up(animals: int, looks: int, seed: int = 1) -> Nation:
    """The same breed for the same numbers. One kit in ten has an unknown parent; each animal has its looks in the three
    years from its birth, by graders of its region four times in five."""
    rng = np.random.default_rng(seed)
    founders = max(20, animals // (2 * YEARS))
    born = np.append(np.zeros(founders, int), 1 + np.arange(animals - founders) * YEARS // (animals - founders))
    sire, dam = np.full(animals, -1), np.full(animals, -1)
    litter_of = np.full(animals, -1)
    region = rng.integers(0, 10, animals)
    litters = 0
    for year in range(1, YEARS + 1):
        kits = np.flatnonzero(born == year)
        old = np.flatnonzero((born >= year - 2) & (born < year))
        bucks, does = old[::2], old[1::2]
        bucks = rng.permutation(bucks)[: max(2, len(kits) // 60)]
        count = -(-len(kits) // KITS)
        litter = np.arange(len(kits)) // KITS
        of_doe = rng.choice(does, count)
        sire[kits], dam[kits] = rng.choice(bucks, count)[litter], of_doe[litter]
        region[kits] = region[of_doe][litter]
        litter_of[kits] = litters + litter
        litters += count
    unknown = rng.random(animals)
    sire[unknown < 0.05] = -1
    dam[unknown > 0.95] = -1
    pedigree = Pedigree(sire, dam)
    new = rng.standard_normal(animals) * np.sqrt(TRUTH.animal * pedigree.mendelian)
    layers = pedigree.layers
    merit = np.empty(animals)
    down: Numbers = Flow(layers).down(new[layers.rows])
    merit[layers.rows] = down
    animal = np.concatenate([np.arange(animals), rng.integers(0, animals, max(looks - animals, 0))])[:looks]
    year = born[animal] + rng.integers(0, 3, looks)
    graders = int(np.clip(animals // 5000, 1, 10)) * 10
    own = rng.random(looks) < 0.8
    grader = np.where(own, region[animal] + 10 * rng.integers(0, graders // 10, looks), rng.integers(0, graders, looks))
    months = 12 * (year - born[animal]) + rng.integers(3, 12, looks)
    age, coat, half = np.minimum(months // 3, 11), rng.integers(0, 6, looks), 2 * year + rng.integers(0, 2, looks)
    value = 5 + merit[animal] + (np.sqrt(TRUTH.permanent) * rng.standard_normal(animals))[animal]
    value += np.sqrt(TRUTH.residual) * rng.standard_normal(looks) - 0.05 * age + 0.1 * coat
    value += (0.4 * rng.standard_normal((graders, YEARS + 3)))[grader, year]
    fixed = {"grader and year": grader * (YEARS + 3) + year, "age": age, "coat stage": coat, "half-year": half}
    return Nation(pedigree, Records(animal, value, fixed), merit, born)
