"""Pairs with what speaks for and against them in words, and their order; never a single number alone."""

from dataclasses import dataclass, field

import numpy as np

from herds.words import count_words, listed
from pedigrees.words import percent

WORDED = 4  # so many traits outside their goals are named, the others counted


@dataclass(frozen=True)
class Expected:
    """What to expect of the kits in one trait: mean and spread in steps, and where that lies beside the goal."""

    name: str
    leading: str
    mean: float
    spread: float
    goal: tuple | None

    @property
    def known(self):
        return self.mean == self.mean

    @property
    def distance(self):
        """Steps outside the goal, below as negative; 0 inside it or without one."""
        if not self.known or self.goal is None:
            return 0.0
        low, high = self.goal
        return min(0.0, self.mean - (low - 0.5)) or max(0.0, self.mean - (high + 0.5))

    @property
    def words(self):
        """'6.1, give or take 0.9; the goal is 6 to 8'."""
        if not self.known:
            return "cannot be told"
        said = f"{self.mean:.1f}" + (f", give or take {self.spread:.1f}" if self.spread == self.spread else "")
        if self.goal is None:
            return said
        low, high = self.goal
        goal = f"{low}" if low == high else f"{low} to {high}"
        off = self.distance
        where = "inside the goal of" if not off else ("below the goal of" if off < 0 else "above the goal of")
        return f"{said}; {where} {goal}"


@dataclass(frozen=True)
class Pair:
    """A doe and a buck. `cautions` and `reasons` are sentences; `chance` (of both goals) is NaN where not known."""

    doe: object
    buck: object
    inbreeding: float
    expected: list
    chance: float
    close: bool
    relation: str = ""
    faults: list = field(default_factory=list)
    unseen: tuple = ()
    unseen_words: str = "look"
    note: str = ""

    @property
    def key(self):
        """'12-7': the doe's key and the buck's, as forms send them."""
        return f"{self.doe.pk}-{self.buck.pk}"

    @property
    def surface(self):
        return next((each for each in self.expected if each.leading == "surface"), None)

    @property
    def undercolor(self):
        return next((each for each in self.expected if each.leading == "undercolor"), None)

    @property
    def distance(self):
        """How far the expected kits lie from both goals together, in steps; NaN where one cannot be told."""
        both = [self.surface, self.undercolor]
        if any(each is None or not each.known for each in both):
            return float("nan")
        return sum(abs(each.distance) for each in both)

    @property
    def inbreeding_words(self):
        return percent(self.inbreeding)

    @property
    def order(self):
        """Close pairs and shared faults last, then by the chance of both goals, then by distance, then by kinship."""
        chance = self.chance if self.chance == self.chance else -1.0
        distance = self.distance if self.distance == self.distance else 99.0
        return (self.close, bool(self.faults), -round(chance, 3), round(distance, 3), self.inbreeding, self.buck.pk)

    @property
    def told(self):
        """All that is known of the pair in sentences, to be kept with a plan."""
        coats = [f"{each.name}: {each.words}." for each in (self.surface, self.undercolor) if each]
        return [*coats, *self.reasons]

    @property
    def reasons(self):
        """For and against in sentences, the weightiest first."""
        said = [self._kinship(), self._chance(), self.note, self._others(), *self._faults()]
        return [sentence for sentence in said if sentence]

    def _kinship(self):
        if self.inbreeding == 0:
            return "No common ancestor is recorded, so no inbreeding is expected."
        words = f"Expected inbreeding of the litter {self.inbreeding_words}."
        return f"{words} {self.relation}".strip()

    def _chance(self):
        if self.unseen:
            names = listed([str(animal) for animal in self.unseen])
            return f"You may see no {self.unseen_words} of {names}, so nothing can be said of the kits' coats."
        if self.chance == self.chance:
            return f"{chance_words(self.chance)} may reach both goals, surface and undercolor."
        return f"The chance of both goals cannot be told: a {self.unseen_words} or a goal is missing."

    def _others(self):
        off = [each for each in self.expected if not each.leading and each.distance]
        off.sort(key=lambda each: -abs(each.distance))
        if not off:
            return ""
        named = [f"{each.name} {each.mean:.1f} ({'below' if each.distance < 0 else 'above'})" for each in off[:WORDED]]
        more = f" and {count_words(len(off) - WORDED, 'trait')} more" if len(off) > WORDED else ""
        return f"Likely outside their goals: {', '.join(named)}{more}."

    def _faults(self):
        return [f"Both were seen with {listed(self.faults)}."] if self.faults else []


def chance_words(chance):
    """A chance as kits: 'About 4 kits in 10', 'Fewer than 1 kit in 20', 'Nearly every kit'."""
    if chance < 0.05:
        return "Fewer than 1 kit in 20"
    if chance > 0.95:
        return "Nearly every kit"
    return f"About {count_words(max(1, round(chance * 10)), 'kit')} in 10"


def pairs_of(does, bucks, inbreeding, forecast, *, close_from, relations=None):
    """All pairs, d by b. inbreeding : (d, b); close_from : 0 to 1; relations : {(doe key, buck key): sentence}."""
    relations = relations or {}
    found = []
    for i, doe in enumerate(does):
        row = []
        for j, buck in enumerate(bucks):
            expected, chance, faults, unseen, note = [], float("nan"), [], (), ""
            if forecast:
                expected = [
                    Expected(each.name, each.leading, float(each.mean[i, j]), float(each.spread[i, j]), each.goal)
                    for each in forecast.traits
                ]
                chance = float(forecast.both_goals[i, j])
                faults = forecast.shared_faults.get((doe.pk, buck.pk), [])
                unseen = tuple(animal for animal in (doe, buck) if animal.pk in forecast.unseen)
                note = forecast.notes.get((doe.pk, buck.pk), "")
            else:
                unseen = (doe, buck)
            f = float(inbreeding[i, j])
            relation = relations.get((doe.pk, buck.pk), "")
            words = forecast.unseen_words if forecast else "look"
            close = f >= close_from
            row.append(Pair(doe, buck, f, expected, chance, close, relation, faults, unseen, words, note))
        found.append(row)
    return found


def worth(pairs):
    """(d, b) what the optimiser weighs: the chance of both goals, else nearness to them; NaN where nothing is known."""
    chance = np.array([[pair.chance for pair in row] for row in pairs], dtype=float)
    near = np.array([[1 / (1 + pair.distance) - 1 for pair in row] for row in pairs], dtype=float)
    return np.where(np.isnan(chance), near, chance)
