"""A club made up year by year with known truth: a breed that is chosen or not, and graders who drift or not."""

import numpy as np

from clubsite.members.models import Club
from grading.evaluation import Pedigree
from grading.models import Trait, TraitEvaluation
from grading.running import work
from grading.running.reading import Looks
from grading.year_report import trait_report

FIRST_YEAR, GRADERS, KITS = 2020, 5, 4
ANIMAL, PERMANENT, RESIDUAL = 0.5, 0.15, 0.7
AGE_STEPS = (0.0, 0.3, 0.2)  # what the first, second and third year of life look like


def made(seed, *, drift, choose, years=6, litters=30, blur=0.0, fade=0.0):
    """(Looks, steps of a trait, true merits): every animal is looked at in three years of its life by any grader.

    drift : steps a year by which every grader moves. choose : whether the brighter by first looks become parents, seen
    with an error of `blur` steps more. fade : standard deviation, steps a year, of what each founder's age does to them
    and their offspring beyond AGE_STEPS; the model knows nothing of it.
    """
    rng = np.random.default_rng([2606, seed])
    founders = litters * KITS
    sire, dam, born, litter = [-1] * founders, [-1] * founders, [0] * founders, [-1] * founders
    herd, true = list(rng.integers(0, 4, founders)), list(np.sqrt(ANIMAL) * rng.standard_normal(founders))
    permanent, lean = list(np.sqrt(PERMANENT) * rng.standard_normal(founders)), 0.6 * rng.standard_normal(GRADERS)
    rows, fading = [], list(fade * rng.standard_normal(founders)) if fade else [0.0] * founders

    def look(which, age, year):
        grader = rng.integers(0, GRADERS, len(which))
        steps = 5 + np.array(true)[which] + np.array(permanent)[which] + AGE_STEPS[age] + drift * year + lean[grader]
        steps = steps + age * np.array(fading)[which]
        steps = np.clip(np.rint(steps + np.sqrt(RESIDUAL) * rng.standard_normal(len(which))), 1, 9)
        rows.append(np.stack([which, np.full(len(which), age), np.full(len(which), year), grader, steps], axis=1))
        return steps - lean[grader]  # breeders know who gave it

    for year in range(years):
        last = np.flatnonzero(np.array(born) == year)
        first = look(last, 0, year)
        for age in range(1, len(AGE_STEPS)):
            look(last, age, year + age)
        if year == years - 1:
            break
        if blur:
            first = first + blur * rng.standard_normal(len(last))
        order = last[np.argsort(-first, kind="stable")] if choose else rng.permutation(last)
        bucks, does = order[0::2][: litters // 2], order[1::2][:litters]
        for number, doe in enumerate(does):
            buck = int(rng.choice(bucks))
            for _ in range(KITS):
                for column, given in zip(
                    (sire, dam, born, litter, herd),
                    (buck, int(doe), year + 1, year * litters + number, int(rng.integers(0, 4))),
                    strict=True,
                ):
                    column.append(given)
                true.append((true[buck] + true[doe]) / 2 + np.sqrt(ANIMAL / 2) * rng.standard_normal())
                permanent.append(np.sqrt(PERMANENT) * rng.standard_normal())
                mean = (fading[buck] + fading[doe]) / 2
                fading.append(mean + fade * np.sqrt(0.5) * rng.standard_normal() if fade else 0.0)
    born, true, herd = np.array(born), np.array(true), np.array(herd)
    table = np.concatenate(rows)
    animal, age, year, grader = (table[:, at].astype(int) for at in range(4))
    steps = table[:, 4]
    by_year = grader * 100 + year
    keys, code = np.unique(by_year, return_inverse=True)
    half = year * 2 + rng.integers(0, 2, len(animal))
    halves, half_code = np.unique(half, return_inverse=True)
    looks = Looks(
        look=np.arange(len(animal)),
        animal=animal,
        observer=grader + 1,
        herd=herd[animal],
        fixed={"grader and year": code, "mode": 0 * age, "age": age, "coat stage": 0 * age, "half-year": half_code},
        levels={
            "grader and year": {at: f"{key // 100 + 1}:{FIRST_YEAR + key % 100}" for at, key in enumerate(keys)},
            "mode": {0: "in_hand"},
            "age": {at: str(at) for at in range(3)},
            "coat stage": {0: "prime"},
            "half-year": {at: f"{FIRST_YEAR + key // 2}:{key % 2 + 1}" for at, key in enumerate(halves)},
        },
        pedigree=Pedigree(np.array(sire), np.array(dam)),
        ids=np.arange(len(born)) + 1,
        born=born + FIRST_YEAR,
        litter=np.array(litter),
        of_breed=np.ones(len(born), bool),
        year=year + FIRST_YEAR,
        cell=age,
    )
    return looks, steps, true


def told(looks, value):
    """The TraitReport of a run over these looks, nothing of it stored."""
    found = work.evaluate_trait(looks, value, leading=True, progress=None)
    evaluation = TraitEvaluation(trait=Trait(name="Surface shade"), refused=found.refused, **found.counts, **found.kept)
    return trait_report(evaluation, Club())
