"""A small club over three birth years in three herds, graded by two, for the year report."""

from datetime import date, timedelta

import numpy as np

from grading.models import Trait

from .factories import make_animal, make_herd, make_look, make_member, make_profile, published_profile


def make_graded_years(cast, kits=4):
    """Three birth years of three litters; the undercolor of each year is a little darker."""
    rng = np.random.default_rng(5)
    profile = published_profile(cast.sire.breed) or make_profile(cast.sire.breed)
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    third = make_herd(make_member("Una Farrow"), name="Farrow", shares_looks=True)
    found = []
    for year in (2021, 2022, 2023):
        for number, herd in enumerate((cast.herd, cast.other_herd, third)):
            for kit in range(kits):
                animal = make_animal(herd, f"Y{year % 100}{number}{kit}", sex=("buck", "doe")[kit % 2],
                                     born_on=date(year, 3, 1), sire=None, dam=None)  # fmt: skip
                true = (5 + rng.normal(0, 0.9), 5 + 0.3 * (year - 2021) + rng.normal(0, 0.9))
                for grader, lean in ((cast.keeper, 0), (cast.grader, 1)):
                    shade, dark = (int(np.clip(round(t + lean + rng.normal(0, 0.5)), 1, 9)) for t in true)
                    make_look(animal, grader, profile=profile, observed_on=date(year, 11, 1) + timedelta(days=kit),
                              steps={surface: shade, (under, "loin"): dark})  # fmt: skip
                found.append(animal)
    return found
