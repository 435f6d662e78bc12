"""Everything the comparison page shows, put together from a fixed number of queries."""

from dataclasses import dataclass
from typing import Any

from django.db.models import prefetch_related_objects
from django.utils import timezone

from grading import twoway
from grading.models import Trait

from . import footing as foot
from . import merit_part, plot, sums
from .lineup import MOST, lined_up
from .photos import photo_rows

FIRST = ("surface", "undercolor", "reach")


@dataclass(frozen=True)
class Cell:
    """A trait of a thing in words; `held` where too few animals stand behind it to show it."""

    thing: Any
    figure: Any
    held: bool = False

    @property
    def mean(self):
        return twoway.words_for(self.figure.mean)

    @property
    def sd(self):
        return twoway.words_for(self.figure.sd)

    @property
    def last(self):
        return f"{self.figure.last:.1f}".removesuffix(".0")


@dataclass(frozen=True)
class Line:
    """A trait of all things: its goal as (low, high) or None, the drawing, and a Cell for each."""

    trait: Trait
    goal: tuple | None
    svg: str
    cells: list


@dataclass(frozen=True)
class Compared:
    """A comparison, before it is drawn."""

    asked: Any
    footing: Any
    profile: Any
    standings: list
    ages: list
    coats: list
    lines: list
    planes: dict
    animals: list
    goal: tuple | None
    chosen: Any

    @property
    def drawn(self):
        """The standings of which only some animals are summed trait by trait."""
        return [each for each in self.standings if each.share < 1]

    @property
    def single(self):
        return self.asked.kind.code == "animals"


def compared(asked, member, club):
    """The Compared that a member may see. A fixed number of queries, however much there is to count."""
    chosen = sums.Chosen(asked.kind, asked.keys, asked.breeds, sums.open_herds(member))
    of_thing, of_cell = sums.counts(chosen)
    footing = foot.chosen_footing(asked.shown, asked.keys, of_cell)
    standings = foot.standings(asked, footing, of_thing, of_cell, club)
    whole = [each.thing.key for each in standings if each.whole]
    planes = sums.planes(chosen, footing, whole)
    animals = sums.individuals(chosen, footing, max(MOST, sums.DOTS // max(1, len(asked.things))))
    profile = profile_of(asked.breeds)
    goals = goals_of(profile, footing)
    single = asked.kind.code == "animals"
    shares = {each.thing.key: each.share for each in standings if each.share < 1}
    found = sums.figures(chosen, footing, whole, shares, by_look=single)
    ages, coats = foot.ages_and_coats(of_cell)
    return Compared(
        asked=asked,
        footing=footing,
        profile=profile,
        standings=standings,
        ages=[(age, foot.age_word(age, profile), age == footing.age) for age in sorted(ages)],
        coats=[(coat, foot.coat_word(coat), coat == footing.coat) for coat in sorted(coats)],
        lines=lines_of(standings, found, goals, club),
        planes=planes,
        animals=animals,
        goal=plane_goal(goals),
        chosen=chosen,
    )


def profile_of(breeds):
    """The profile in force for the one breed, its age classes with it; None for several breeds."""
    profile = twoway.club_profile(breeds[0], timezone.localdate()) if len(breeds) == 1 else None
    if profile is not None:
        prefetch_related_objects([profile], "age_classes")
    return profile


def goals_of(profile, footing):
    """{trait id: (low, high)} of the profile, with the seniors' leeway where only seniors are compared."""
    if profile is None:
        return {}
    rows = profile.traits.select_related("trait")
    return {row.trait_id: (row.goal_for(footing.age if footing.like else ""), row.trait.summary) for row in rows}


def plane_goal(goals):
    """((low, high) of surface, (low, high) of undercolor), or None."""
    found = {summary: goal for goal, summary in goals.values() if goal}
    return (found["surface"], found["undercolor"]) if "surface" in found and "undercolor" in found else None


def lines_of(standings, found, goals, club):
    """A Line for each trait that any of the things was graded for: surface, undercolor and reach first."""
    graded = {trait for _, trait in found}
    traits = sorted(
        Trait.objects.filter(pk__in=graded),
        key=lambda t: (FIRST.index(t.summary) if t.summary in FIRST else len(FIRST), t.section, t.position, t.code),
    )
    lines = []
    for trait in traits:
        cells = [_cell(each, found.get((each.thing.key, trait.pk)), club) for each in standings]
        goal = goals.get(trait.pk, (None, ""))[0]
        lanes = [(cell.thing.letter, None if cell.held else cell.figure) for cell in cells]
        lines.append(Line(trait, goal, plot.strip(trait, lanes, goal), cells))
    return lines


def _cell(standing, figure, club):
    """A trait is held back on its own: a group that may be shown may still have it of few animals only."""
    held = bool(figure and standing.whole and twoway.held_back(figure.animals, figure.herds, club))
    return Cell(standing.thing, figure, held)


def page_of(found, member, club):
    """What templates/grading/compare.html draws of a Compared."""
    letters = {thing.key: thing.letter for thing in found.asked.things}
    total = sum(_openly(each) for each in found.standings)
    return {
        "found": found,
        "footing_words": foot.footing_words(found.footing, found.profile),
        "heads": [
            (each, twoway.coat_of(_shades(found.planes.get(each.thing.key))), plot.legend_mark(index))
            for index, each in enumerate(found.standings)
        ],
        "plot": plot.two_way(found.standings, found.planes, found.animals, found.goal, single=found.single),
        "plot_rows": [
            [f"{each.thing.letter} {each.thing.name}", each.counts.animals, *_words(found.planes.get(each.thing.key))]
            for each in found.standings
        ],
        "plot_columns": ["Compared", "Animals", "Surface shade", "Undercolor", "Undercolor reach"],
        "plot_note": _plot_note(found),
        "measured": sums.MEASURED,
        "merits": merit_part.merit_page(found, member, club),
        "csv_url": found.asked.address(**{"as": "csv"}),
        "everything_url": found.asked.address(basis="all", age=None, coat=None),
        "like_url": found.asked.address(basis=None),
        "lineup": lined_up(found.animals, total, letters, found.goal),
        "photos": photo_rows(
            found.asked, found.chosen, member, found.profile, found.footing.age if found.footing.like else "",
            found.asked.shown,
        ),
    }  # fmt: skip


def _plot_note(found):
    if found.single:
        return "A letter stands at the mean of the animal's looks."
    drawn = sum(animal.both for animal in found.animals)
    of = sum(_openly(each) for each in found.standings)
    note = "A letter stands at the mean of the animals, the ring is one standard deviation round it, a dot one animal. "
    note += "Dots that would cover each other are moved a little apart."
    return note + (f" {drawn} of {of} animals are drawn, those looked at last; all count." if drawn < of else "")


def _openly(standing):
    return standing.counts.animals - (standing.hidden if standing.whole else 0)


def _shades(plane):
    return {name: getattr(plane, name, None) for name in ("surface", "undercolor", "reach")}


def _words(plane):
    return [twoway.words_for(value) for value in _shades(plane).values()]
