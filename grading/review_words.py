"""Where owner and mentor differ, and why it matters, in words."""

from dataclasses import dataclass

from .look_reading import beside, words_of
from .models import Summary

MATTERS_FROM = 2  # steps; one step apart is how well the same grader repeats himself: common practice, no source
GOOD = ("inside", "leeway")
LIES = {"inside": "inside it", "leeway": "inside it with the seniors' leeway", "under": "under it", "over": "over it"}


@dataclass(frozen=True)
class Difference:
    """A trait in which the two differ; where the coat is parted, at all its places together."""

    pairs: tuple

    @property
    def worst(self):
        return max(self.pairs, key=lambda pair: abs(pair.apart))

    @property
    def weight(self):
        """Sorts first what would change a verdict, then what lies furthest apart; what has no goal comes last."""
        worst = self.worst
        return (worst.goal is None, not worst.changes_verdict, -abs(worst.apart))


@dataclass(frozen=True)
class Pair:
    """One trait at one place as both saw it. `own` and `theirs` are Answers, or None where nothing was said."""

    row: object
    site: str
    own: object
    theirs: object
    goal: tuple | None
    without_leeway: tuple | None

    @property
    def name(self):
        return f"{self.row.trait.name}, {self.site}" if self.site else self.row.trait.name

    @property
    def is_surface(self):
        return self.row.trait.summary == Summary.SURFACE

    @property
    def apart(self):
        """The mentor's step less the owner's; None unless both gave one."""
        steps = (step(self.own), step(self.theirs))
        return None if None in steps else steps[1] - steps[0]

    @property
    def differs(self):
        return self.apart is not None and abs(self.apart) >= MATTERS_FROM

    @property
    def own_said(self):
        return said(self.own)

    @property
    def theirs_said(self):
        return said(self.theirs)

    @property
    def own_words(self):
        return words_of(self.row, step(self.own))

    @property
    def theirs_words(self):
        return words_of(self.row, step(self.theirs))

    @property
    def goal_said(self):
        if self.goal is None:
            return "no goal"
        low, high = self.goal
        return f"{low}" if low == high else f"{low} to {high}"

    @property
    def direction(self):
        """'3 steps nearer to “nearly white”': where the mentor's step lies from the owner's."""
        trait = self.row.trait
        end = trait.high_words if self.apart > 0 else trait.low_words
        unit = "step" if abs(self.apart) == 1 else "steps"
        return f"{abs(self.apart)} {unit} nearer to “{end}”"

    @property
    def changes_verdict(self):
        """True when one step lies in the goal range (or the leeway), and the other does not."""
        lies = [beside(step(each), self.goal, self.without_leeway) for each in (self.own, self.theirs)]
        return (lies[0] in GOOD) != (lies[1] in GOOD)

    @property
    def matters(self):
        """Why the difference matters: where both steps lie beside the goal, and what follows if the mentor is right."""
        if self.goal is None:
            return "The schedule has no goal for it. It tells how alike you two see."
        own = beside(step(self.own), self.goal, self.without_leeway)
        theirs = beside(step(self.theirs), self.goal, self.without_leeway)
        lie = f"The goal is {self.goal_said}: "
        if own == theirs:
            end = "so it is good by either." if own in GOOD else "so the verdict is the same, and the distance is not."
            return f"{lie}both steps lie {LIES[own]}, {end}"
        lie += f"your step lies {LIES[own]}, the mentor's {LIES[theirs]}."
        if own in GOOD:
            return f"{lie} Who grades so keeps animals that fall short of the goal."
        if theirs in GOOD:
            return f"{lie} Who grades so lets animals go that are good in it."
        return f"{lie} Each of you would breed it the other way."


def step(answer):
    return answer.step if answer is not None else None


def said(answer):
    """'7', 'cannot tell', or 'not said'."""
    if answer is None:
        return "not said"
    return "cannot tell" if answer.cannot_tell else str(answer.step)


def pairs_of(rows, age_class, own, theirs):
    """A Pair for each trait and place to which either of the two looks has an answer.

    rows : the schedule's ProfileTraits with their step texts. own, theirs : {(trait, site): Answer}.
    """
    for row in rows:
        for site in row.trait.sites or [""]:
            key = (row.trait_id, site)
            if key in own or key in theirs:
                yield Pair(row, site, own.get(key), theirs.get(key), row.goal_for(age_class), row.goal_for(None))


def differences(pairs):
    """The traits in which the two differ by MATTERS_FROM steps or more somewhere, what matters most first."""
    by_trait: dict = {}
    for pair in pairs:
        if pair.apart is not None:
            by_trait.setdefault(pair.row.trait_id, []).append(pair)
    far = [Difference(tuple(each)) for each in by_trait.values() if any(pair.differs for pair in each)]
    return sorted(far, key=lambda each: each.weight)


def agreement_words(pairs):
    """'Of 12 steps that both gave, 8 are the same or one apart and 4 differ by 2 or more.'"""
    both = [pair for pair in pairs if pair.apart is not None]
    if not both:
        return "No trait has a step from both of you, so nothing can be compared."
    far = sum(pair.differs for pair in both)
    near = len(both) - far
    of = (
        "Of the one step that both of you gave, " if len(both) == 1 else f"Of {len(both)} steps that both of you gave, "
    )
    if not far:
        return f"{of}none differs by {MATTERS_FROM} or more."
    return (
        f"{of}{near} {'is' if near == 1 else 'are'} at most one apart, {far} {'differs' if far == 1 else 'differ'} "
        f"by {MATTERS_FROM} or more."
    )
