"""What most animals of a group share, trait by trait: counts in, a verdict out. Knows no Django.

"Most" is said only where the lower end of Wilson's 95 % interval lies above one half; each trait stands for itself.
"""

from collections import Counter
from dataclasses import dataclass

from grading.figures import percents
from grading.shares import wilson

FEWEST = 5  # animals under which nothing is said of "most": common practice, no source


@dataclass(frozen=True)
class Part:
    """`k` of `n` animals; an interval of the share, 0 to 1, as far as these stand for others like them."""

    k: int
    n: int

    @property
    def interval(self):
        """(low, high), 0 to 1."""
        return wilson(self.k, self.n)

    @property
    def is_most(self):
        return self.n >= FEWEST and self.interval[0] > 0.5

    @property
    def words(self):
        """'12 of 16 (51 to 90 %)'; 'of none' without animals."""
        if not self.n:
            return "of none"
        low, high = self.interval
        return f"{self.k} of {self.n} ({percents(low, high)})"


@dataclass(frozen=True)
class Standing:
    """How a group's animals stand to the goal of one trait: inside it, below and above, each a Part of the same n."""

    inside: Part
    below: Part
    above: Part

    @property
    def n(self):
        return self.inside.n

    @property
    def verdict(self):
        """'inside', 'below', 'above', 'outside' (on both sides together), 'open', or 'few'."""
        if self.n < FEWEST:
            return "few"
        for name in ("inside", "below", "above"):
            if getattr(self, name).is_most:
                return name
        return "outside" if Part(self.below.k + self.above.k, self.n).is_most else "open"


def standing_of(counts):
    """The Standing of animals counted as {(step, (low, high) of its goal): animals}."""
    places: Counter = Counter()
    for (step, (low, high)), animals in counts.items():
        places["below" if step < low else "above" if step > high else "inside"] += animals
    n = places.total()
    return Standing(*(Part(places[name], n) for name in ("inside", "below", "above")))
