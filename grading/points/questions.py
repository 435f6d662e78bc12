"""Where points and description say different things: as questions, and never as a correction. No Django.

A position is compared with the traits and findings that the schedule names behind it, so the same few rules hold for
any schedule. Distances are whole steps of a trait's scale outside its goal. The limits are ours, chosen so that a
question is rare: they change no points and no look.
"""

from dataclasses import dataclass
from decimal import Decimal

from .arithmetic import each_line

FULL = Decimal(1)
HIGH = Decimal("0.9")
LOW = Decimal("0.6")
FAR = 2  # outside the goal by so many steps, beside full points
VERY_FAR = 3  # or by so many, beside high points
NAMED_AT_MOST = 3
NEARLY_ALL_TYPE = Decimal("0.95")


@dataclass(frozen=True)
class Said:
    """One answer of the description: the trait, in words with its place, its step and its goal (low, high)."""

    trait: str
    words: str
    step: int
    goal: tuple[int, int]

    @property
    def distance(self):
        """Steps outside the goal; 0 inside."""
        return max(self.goal[0] - self.step, self.step - self.goal[1], 0)

    def __str__(self):
        low, high = self.goal
        return f"{self.words} {self.step}, goal {low if low == high else f'{low} to {high}'}"


@dataclass(frozen=True)
class Behind:
    """What stands behind a position: its answers with a goal, how many traits are asked, findings that were seen.

    `coat` : its traits tell of the fur's quality; `body` : of type; `colour` : of colour.
    """

    said: tuple[Said, ...] = ()
    asked: int = 0
    seen: tuple[str, ...] = ()
    coat: bool = False
    body: bool = False
    colour: bool = False

    @property
    def farthest(self):
        """For each trait its answer farthest from the goal, the farthest first."""
        worst = {}
        for said in self.said:
            if said.trait not in worst or said.distance > worst[said.trait].distance:
                worst[said.trait] = said
        return sorted(worst.values(), key=lambda said: -said.distance)


def questions_of(line, behind, not_prime=""):
    """The sentences to ask about one line; `not_prime` says what the coat is instead of prime, '' when it is prime."""
    if line.is_open:
        return []
    asked = [_described_lower(line, behind), _seen(line, behind), _not_prime(line, behind, not_prime)]
    return [sentence for sentence in [*asked, _described_higher(line, behind)] if sentence]


def halo(lines, behind):
    """The sentence when type has all but its full points and colour follows although the description says otherwise.

    behind : {position's key: Behind}.
    """
    known = [line for line in each_line(lines) if line.place.key in behind and not line.is_open]
    body = [line for line in lines if line.place.key in behind and behind[line.place.key].body]
    if not body or any(line.is_open for line in body):
        return ""
    possible = sum(line.place.points for line in body)
    if sum(line.given for line in body) < NEARLY_ALL_TYPE * possible:
        return ""
    for line in known:
        about = behind[line.place.key]
        if about.colour and not about.body and _described_lower(line, about):
            return (
                f"Type has nearly all its points and {line.place.name.lower()} follows it, although the description "
                f"says otherwise. Colour stands for itself: look at it once more as if the type were not known."
            )
    return ""


def points_words(line):
    """'14.5 of 15 points'."""
    return f"{_plain(line.given)} of {_plain(line.place.points)} points"


def _described_lower(line, behind):
    """High points beside a description that lies outside the goals."""
    far = [said for said in behind.farthest if said.distance >= FAR]
    very_far = any(said.distance >= VERY_FAR for said in far)
    if (line.share >= FULL and far) or (line.share >= HIGH and (very_far or len(far) > 1)):
        named = "; ".join(str(said) for said in far[:NAMED_AT_MOST])
        return (
            f"{line.place.name} has {points_words(line)}, yet the description lies outside the goal: {named}. "
            f"Are both meant?"
        )
    return ""


def _seen(line, behind):
    """High points beside a fault that was seen."""
    if line.share >= HIGH and behind.seen:
        what = " and ".join(behind.seen).lower()
        return f"{line.place.name} has {points_words(line)}, yet this was seen: {what}. Are both meant?"
    return ""


def _not_prime(line, behind, not_prime):
    """Full points for fur in a coat that is not prime."""
    if line.share >= FULL and behind.coat and not_prime:
        return f"{line.place.name} has full points, yet the coat is {not_prime}. Are both meant?"
    return ""


def _described_higher(line, behind):
    """Low points though all that was described lies in the goal; asked once half of the traits are answered."""
    told = behind.farthest
    if behind.seen or not told or 2 * len(told) < behind.asked or told[0].distance:
        return ""
    if line.under_floor or line.share <= LOW:
        return (
            f"{line.place.name} has {points_words(line)}, yet all that was described behind it lies in the goal. "
            f"What takes the points?"
        )
    return ""


def _plain(points):
    """'15' for 15.0, '14.5' as it is."""
    return f"{points:.1f}".removesuffix(".0")
