"""What the page of a line shows of its animals' looks: one group of a comparison by itself."""

from django.utils import timezone

from grading import twoway

from . import footing as foot
from . import plot, sums
from .asked import LETTERS
from .kinds import KINDS, Thing


def line_looks(line, member, club):
    """Context: `standing`, `coat` and `plot` of the looks that the member may see. Five queries."""
    breed = line.foundation.breed_id if line.foundation_id else _first_breed(line)
    thing = Thing(line.pk, line.name, line.get_absolute_url(), letter=LETTERS[0])
    chosen = sums.Chosen(KINDS["lines"], [line.pk], [breed], sums.open_herds(member))
    footing = sums.Footing(False)
    with sums.room_for_many(chosen.kind):
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
