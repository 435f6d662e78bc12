"""What a points sheet adds up to, position by position. Numbers in, small dataclasses out, no Django.

Points are Decimals in whole or half points. A position with parts has the sum of its parts; the position for weight has
what the weight table gives; every other has what was given for it, or None. The total is the plain sum: floors and
faults take nothing away. A floor only says below which points the schedule does not place an animal.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum


@dataclass(frozen=True)
class Place:
    """A position of the schedule: its points, its floor or None, its step (1 or 0.5), and its parts."""

    key: int
    code: str
    name: str
    points: Decimal
    floor: Decimal | None = None
    step: Decimal = Decimal(1)
    by_weight: bool = False
    parts: tuple["Place", ...] = ()


@dataclass(frozen=True)
class Line:
    """A position with what was given for it; `parts` are Lines too."""

    place: Place
    given: Decimal | None
    parts: tuple["Line", ...] = ()

    @property
    def is_open(self):
        """True while the position, or one of its parts, has no points yet."""
        return any(part.is_open for part in self.parts) if self.parts else self.given is None

    @property
    def under_floor(self):
        """True when the points are all given and lie under the floor."""
        return not self.is_open and self.place.floor is not None and self.given < self.place.floor

    @property
    def share(self):
        """Points given of points possible, 0 to 1; None while the position is open."""
        return None if self.is_open else self.given / self.place.points

    @property
    def possible_so_far(self):
        """The points that could have been given where any were."""
        if self.parts:
            return sum((part.possible_so_far for part in self.parts), Decimal(0))
        return Decimal(0) if self.given is None else self.place.points


@dataclass(frozen=True)
class Sum:
    """The sheet: its lines, the sum of what was given, and what that is a part of."""

    lines: tuple[Line, ...]
    total: Decimal
    possible: Decimal
    possible_so_far: Decimal

    @property
    def still_open(self):
        """The positions, or parts of them, that have no points yet."""
        return [line for line in leaves(self.lines) if line.given is None]

    @property
    def is_begun(self):
        return self.possible_so_far > 0

    @property
    def under_floor(self):
        return [line for line in each_line(self.lines) if line.under_floor]


def add_up(places, given):
    """The Sum of what was given. places : Places in order; given : {key: Decimal}, the weight's points included."""
    lines = tuple(_line(place, given) for place in places)
    return Sum(
        lines=lines,
        total=sum((line.given for line in lines if line.given is not None), Decimal(0)),
        possible=sum((place.points for place in places), Decimal(0)),
        possible_so_far=sum((line.possible_so_far for line in lines), Decimal(0)),
    )


def _line(place, given):
    if not place.parts:
        return Line(place, given.get(place.key))
    parts = tuple(_line(part, given) for part in place.parts)
    told = [part.given for part in parts if part.given is not None]
    return Line(place, sum(told, Decimal(0)) if told else None, parts)


def each_line(lines):
    """Every line, a position's parts after it."""
    for line in lines:
        yield line
        yield from each_line(line.parts)


def leaves(lines):
    """The lines that points are given to: parts, and positions without parts."""
    return [line for line in each_line(lines) if not line.parts]


class Weighing(Enum):
    """What the weight table says of an animal."""

    NO_TABLE = "no table"
    NOT_WEIGHED = "not weighed"
    OUTSIDE = "outside"
    IN_A_BAND = "in a band"


@dataclass(frozen=True)
class Band:
    """Points from `lowest` to `highest` grams, both included; no age class or sex: for all; no highest: no limit."""

    lowest: int
    highest: int | None
    points: Decimal
    age_class: int | None = None
    sex: str = ""


@dataclass(frozen=True)
class Weighed:
    """What the table says, the points if any, and the limits of the bands that count for the animal, in grams."""

    weighing: Weighing
    points: Decimal | None = None
    lowest: int | None = None
    highest: int | None = None

    @property
    def is_outside(self):
        return self.weighing is Weighing.OUTSIDE


def weigh(bands, *, grams, age_class=None, sex=""):
    """Points by weight: the animal's own age class and sex first, then its class, then its sex, then all.

    bands : Bands of one edition; grams : int or None; age_class : key or None; sex : 'buck', 'doe' or anything else.
    Where a class or a sex has bands of its own, a weight outside them is not looked up among the others.
    """
    groups = [(age_class, sex), (age_class, ""), (None, sex), (None, "")]
    own = next((found for group in groups if (found := [b for b in bands if (b.age_class, b.sex) == group])), [])
    if not own:
        return Weighed(Weighing.NO_TABLE)
    lowest = min(band.lowest for band in own)
    highest = None if any(band.highest is None for band in own) else max(band.highest for band in own)
    if grams is None:
        return Weighed(Weighing.NOT_WEIGHED, None, lowest, highest)
    for band in own:
        if band.lowest <= grams and (band.highest is None or grams <= band.highest):
            return Weighed(Weighing.IN_A_BAND, band.points, lowest, highest)
    return Weighed(Weighing.OUTSIDE, None, lowest, highest)
