"""Animals lined up light to dark twice over, by surface and by undercolor, each joined to itself.

Both rows run from light to dark. Surface and undercolor pull against each other, so most animals stand at like places
in both rows and their joining lines run upright; an animal that is bright on top and dark below stands at the light end
of the first row and at the dark end of the second, and its line crosses the picture.
"""

from dataclasses import dataclass
from itertools import zip_longest

from herds.words import listed

MOST = 24
COLUMN = 100  # width of a place in the drawing's own units


@dataclass(frozen=True)
class Placed:
    """An animal in the line-up: `both` bright on top and dark below, `neither`, or one of the two."""

    animal: object
    letters: str
    both: bool
    neither: bool

    def coat(self):
        """What components/coat.html takes."""
        reach = self.animal.reach
        return {
            "surface": round(self.animal.surface),
            "undercolor": round(self.animal.undercolor),
            "reach": None if reach is None else round(reach),
            "surface_text": f"{self.animal.surface:.1f}",
            "undercolor_text": f"{self.animal.undercolor:.1f}",
        }


@dataclass(frozen=True)
class Joined:
    """One joining line, from place `x1` of the upper row to place `x2` of the lower one."""

    x1: float
    x2: float
    both: bool
    words: str


@dataclass(frozen=True)
class Lineup:
    """The two rows, their joining lines, and sentences about them. `left` counts the animals that are not drawn."""

    by_surface: list
    by_undercolor: list
    joined: list
    width: int
    rule: str
    said: list
    left: int


def fair_share(animals, keys, most=MOST):
    """At most so many animals, in turn one of each thing, in the order given within each."""
    lists = [[animal for animal in animals if animal.keys[0] == key] for key in keys]
    taken = [animal for turn in zip_longest(*lists) for animal in turn if animal is not None]
    return taken[:most]


def bounds(animals, goal):
    """(lowest bright surface, lowest dark undercolor, words): where the goal begins, else the mean of the animals."""
    if goal:
        surface, undercolor = goal[0][0], goal[1][0]
        return (
            surface,
            undercolor,
            f"surface {surface} or brighter and undercolor {undercolor} or darker, where the goal begins",
        )
    surface = sum(animal.surface for animal in animals) / len(animals)
    undercolor = sum(animal.undercolor for animal in animals) / len(animals)
    return (
        surface,
        undercolor,
        f"brighter than the mean of these, {surface:.1f}, and darker below than {undercolor:.1f}",
    )


def lined_up(animals, total, letters, goal):
    """The Lineup of the individuals; `total` is how many there are in all, `letters` a dict of key to letter.

    None when no animal has both shades.
    """
    whole = fair_share([animal for animal in animals if animal.both], list(letters))
    if not whole:
        return None
    bright, dark, words = bounds(whole, goal)
    placed = {
        animal.animal: Placed(
            animal,
            " ".join(sorted(letters[key] for key in animal.keys)),
            animal.surface >= bright and animal.undercolor >= dark,
            animal.surface < bright and animal.undercolor < dark,
        )
        for animal in whole
    }
    # Equal shades are put so that their joining lines cross as little as they can.
    upper = sorted(whole, key=lambda a: (-a.surface, a.undercolor, a.animal))
    lower = sorted(whole, key=lambda a: (a.undercolor, -a.surface, a.animal))
    place = {animal.animal: number for number, animal in enumerate(lower)}
    joined = [
        Joined(
            (number + 0.5) * COLUMN, (place[animal.animal] + 0.5) * COLUMN, placed[animal.animal].both,
            f"{animal.words}: surface {animal.surface:.1f}, undercolor {animal.undercolor:.1f}",
        )
        for number, animal in enumerate(upper)
    ]  # fmt: skip
    joined.sort(key=lambda line: line.both)  # the heavy lines are drawn last, on top
    return Lineup(
        [placed[animal.animal] for animal in upper],
        [placed[animal.animal] for animal in lower],
        joined,
        COLUMN * len(whole),
        words,
        _said([placed[animal.animal] for animal in upper]),
        total - len(whole),
    )


def _said(placed):
    """What stands out, in sentences."""
    both = [f"{each.animal.mark} ({each.letters})" for each in placed if each.both]
    neither = [f"{each.animal.mark} ({each.letters})" for each in placed if each.neither]
    said = [
        f"Bright on top and dark below, against the pull of the two: {listed(both)}."
        if both
        else "None of these is bright on top and dark below."
    ]
    if neither:
        said.append(f"Neither bright on top nor dark below: {listed(neither)}.")
    return said
