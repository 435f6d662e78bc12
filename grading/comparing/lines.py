"""What the page of a line shows of its animals' looks: one group of a comparison by itself."""

from dataclasses import replace

import numpy as np
from django.utils import timezone

from grading import twoway

from . import footing as foot
from . import plot, sums
from .asked import LETTERS
from .kinds import KINDS, Thing


def line_looks(line, animals, member):
    """Context: `counts`, `coat` and `plot` of the looks at the line's animals that the member may see. Six queries.

    animals : int64 (m,), the keys of the line's animals, as line_animals answers them.
    """
    breed = line.foundation.breed_id if line.foundation_id else _first_breed(line)
    thing = Thing(line.pk, line.name, line.get_absolute_url(), letter=LETTERS[0])
    kind = replace(KINDS["lines"], animals=lambda keys: (np.full(len(animals), line.pk), animals))
    chosen = sums.Chosen(kind, [line.pk], [breed], sums.open_herds(member))
    footing = sums.Footing(False)
    of_thing, _ = sums.counts(chosen)
    planes = sums.planes(chosen, footing, [])
    animals = sums.individuals(chosen, footing, sums.DOTS)
    counts = of_thing.get((line.pk, "open"), foot.NOTHING)
    standing = foot.Standing(thing, counts, False, 0, "", "")
    goal = twoway.goal_of(twoway.club_profile(breed, timezone.localdate())) if breed else None
    svg = plot.two_way([standing], planes, animals, goal)
    plane = planes.get(line.pk)
    return {
        "counts": counts,
        "coat": twoway.coat_of({name: getattr(plane, name, None) for name in ("surface", "undercolor", "reach")}),
        "plot": svg,
        "plot_rows": [
            [animal.words, twoway.words_for(animal.surface), twoway.words_for(animal.undercolor)] for animal in animals
        ],
    }


def _first_breed(line):
    named = line.named_animals.filter(part="added").select_related("animal").first()
    return named.animal.breed_id if named else None
