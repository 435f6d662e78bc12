"""The beliefs, and what the figures say of them in a breeder's words; knows numbers and no rows."""

from dataclasses import dataclass, field

from grading.figures import percent, percents, signed, sizes
from herds.words import count_words

TITLES = {"surface": "Surface shade", "undercolor": "Undercolor darkness", "reach": "Undercolor reach"}
UNITS = {"surface": "steps", "undercolor": "steps", "reach": "tenths"}
WAYS = {"surface": ("brighter", "darker"), "undercolor": ("darker underneath", "paler underneath"),
        "reach": ("deeper in color", "less deep in color")}  # fmt: skip
HOW = {"raw": "as graded", "right": "grader, age and season out", "mates": "beside litter mates alone"}
MATTERS = 0.5  # steps: less is hardly seen, our own choice


@dataclass(frozen=True)
class Belief:
    """One thing that breeders say, and how it is tested."""

    slug: str
    title: str
    saying: str
    tested: str


BELIEFS = (
    Belief(
        "white-on-the-head",
        "White on a newborn's head",
        "White on a kit's head at birth usually molts out, and those kits often become the best coloured.",
        "Kits that were looked at for white at birth are met again grown. Those with white on the head are set beside "
        "the others; kits of one litter count as alike, and where a litter had both they are set beside each other.",
    ),
    Belief(
        "darker-coats",
        "Darker coats and undercolor",
        "A darker rabbit carries more undercolor, and carries it deeper.",
        "Each grown animal counts once, with the mean of its looks: surface shade against undercolor and reach. One "
        "look holds chance, so the coats themselves go together rather more closely than these figures.",
    ),
    Belief(
        "type-and-grade",
        "Type sways the colour grade",
        "A well-built rabbit is given a better colour than it has.",
        "Each grader's surface shade is set beside what other graders gave the same animals, and that difference "
        "beside the body type the grader gave in the same look. An eye that type "
        "does not sway shows no slope, whatever it leans to. Should type sway all alike, this cannot show it.",
    ),
    Belief(
        "fading",
        "Seniors' undercolor fades",
        "Undercolor fades as a rabbit grows old, and in some sires' progeny more than in others'.",
        "Each animal is compared with itself, from its first birthday on, so that a dark line or a culled litter "
        "cannot pass for fade. Sires are drawn towards the club as far as chance could have set them apart.",
    ),
)
BY_SLUG = {belief.slug: belief for belief in BELIEFS}


@dataclass
class Table:
    caption: str
    columns: tuple
    rows: list
    links: list = field(default_factory=list)  # an address for each row, or ''

    @property
    def lines(self):
        """Each row with its columns' titles, and its address."""
        links = self.links or [""] * len(self.rows)
        return [
            {"cells": list(zip(self.columns, row, strict=True)), "link": link}
            for row, link in zip(self.rows, links, strict=True)
        ]


@dataclass
class Answer:
    """What a member is told of a belief. verdict : a sentence; untold : sentences on why there is none, or not all."""

    belief: Belief
    verdict: str
    told: list = field(default_factory=list)
    untold: list = field(default_factory=list)
    tables: list = field(default_factory=list)
    svg: str = ""
    caption: str = ""

    @property
    def first(self):
        return self.verdict or (self.untold or ["Not enough rows yet."])[0]


SHORT = {"surface": "Surface", "undercolor": "Undercolor", "reach": "Reach"}  # beside the bars of a chart


def interval(effect):
    """'−0.12 to +0.40'"""
    return f"{signed(effect.low)} to {signed(effect.high)}"


def shares(effect):
    """'97 % (84 to 100 %)'"""
    return f"{percent(effect.value)} ({percents(effect.low, effect.high)})"


def not_enough(have, what, whats, wanted):
    """'Not enough rows yet: 4 grown kits with ..., and it takes 10.'"""
    return f"Not enough rows yet: {count_words(have, what, whats)}, and it takes {wanted}."


def turned(effect):
    """An effect of one step less: the sign and the ends turned round."""
    return type(effect)(effect.n, effect.groups, -effect.value, -effect.high, -effect.low) if effect.told else effect


def difference_words(name, effect, who="They were"):
    """'They were 0.31 steps brighter than the others (0.11 to 0.52).', or that it cannot be told, and how well."""
    more, less = WAYS[name]
    if effect.sure:
        way = more if effect.value > 0 else less
        return f"{who} {abs(effect.value):.2f} {UNITS[name]} {way} than the others ({sizes(effect.low, effect.high)})."
    if max(-effect.low, effect.high) < MATTERS:
        return (
            f"In {TITLES[name].lower()} they were like the others: a difference of half a step would have shown "
            f"({interval(effect)})."
        )
    return f"In {TITLES[name].lower()} no difference can be told yet ({signed(effect.value)}, {interval(effect)})."


def deep_words(name, effect):
    """A step darker on the surface, and what goes with it underneath."""
    more, less = WAYS[name]
    if not effect.sure:
        return f"With {TITLES[name].lower()} no tie can be told ({signed(effect.value)}, {interval(effect)})."
    way = more if effect.value > 0 else less
    return f"A coat one step darker is {abs(effect.value):.2f} {UNITS[name]} {way} ({sizes(effect.low, effect.high)})."


def genetic_words(genetic):
    """The genetic correlation of the last run, in a sentence; empty where there is none."""
    if genetic is None or genetic[1] is None:
        return ""
    value, low, high = genetic
    said = f"In what is bred, surface shade and undercolor go together with a correlation of {signed(value)}"
    way = "what breeds darker coats breeds darker undercolor" if high < 0 else (
        "what breeds brighter coats breeds darker undercolor" if low > 0 else "whether one costs the other is open"
    )  # fmt: skip
    return f"{said} ({signed(low)} to {signed(high)}): {way}."


def sway_words(effect, whose):
    """What one step of type does to a grade; whose : 'Your grades' or 'The club's grades'."""
    said = f"{signed(effect.value)} steps of surface shade for each step of body type ({interval(effect)})"
    if effect.sure:
        way = "brighter" if effect.value > 0 else "darker"
        return f"{whose} are swayed: a better-built animal is given a {way} coat, {said}."
    if max(-effect.low, effect.high) < MATTERS / 2:
        return f"{whose} are not swayed by type as far as can be seen: {said}."
    return f"Whether type sways {whose[0].lower()}{whose[1:]} cannot be told yet: {said}."


def swayed_words(effects):
    """How many of the graders, each an Effect, type sways more than it does the others."""
    more, less = (sum(each.sure and (each.value > 0) == up for each in effects) for up in (True, False))
    said = f"Of {count_words(len(effects), 'grader')} with enough looks, {more or 'none'} "
    said += (
        f"{'gives' if more == 1 else 'give'} a better-built animal a brighter coat than the others would, beyond chance"
    )
    if less:
        said += f", and {less} a darker one"
    return f"{said}. About one in twenty would seem to without doing so."


def fade_words(effect):
    if not effect.sure:
        return f"Whether undercolor fades after the first birthday cannot be told ({interval(effect)} steps a year)."
    way = "fades" if effect.value < 0 else "darkens"
    size = f"{abs(effect.value):.2f} steps a year after the first birthday ({sizes(effect.low, effect.high)})"
    return f"Undercolor {way} by {size}."


def sires_words(slopes):
    """Whether sires differ in fade."""
    many = len(slopes.by_group)
    if many < 3:
        return f"{count_words(many, 'sire has', 'sires have')} progeny enough, too few to say whether sires differ."
    if slopes.chance > 0.05:
        return f"Between {many} sires no difference can be told: they lie no further apart than chance may set them."
    return (
        f"Chance alone would set {many} sires so far apart in about {max(1, round(100 * slopes.chance))} of 100 clubs; "
        f"their true slopes differ by about {slopes.apart:.2f} steps a year (standard deviation)."
    )
