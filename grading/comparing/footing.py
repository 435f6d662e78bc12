"""Which looks of the things are alike, and what is left out when only those count."""

from dataclasses import dataclass

from grading import twoway
from grading.models import CoatStage, Mode
from herds.words import count_words

from .sums import MEASURED, Counts, Footing

NOTHING = Counts()
ENOUGH = 5


@dataclass(frozen=True)
class Standing:
    """How one thing stands in the comparison.

    counts : what counts of it. whole : looks of herds that are not open to the member count too. hidden : animals of
    such herds. left_out : words for the looks that are of another kind, or "". sentence : why there is nothing or
    less, or "". not_ranked : why a sire is not to be judged by this, or "".
    """

    thing: object
    counts: Counts
    whole: bool
    hidden: int
    left_out: str
    sentence: str
    not_ranked: str = ""

    @property
    def share(self):
        """How much of its animals is summed trait by trait, so that a large group takes no longer than a small one."""
        return min(1.0, MEASURED / self.counts.animals) if self.counts.animals else 1.0


def ages_and_coats(of_cell):
    """The age classes and coat stages of which there are looks in hand, in no order."""
    in_hand = [(age, coat) for _, scope, age, coat, mode in of_cell if scope == "all" and mode == Mode.IN_HAND]
    return {age for age, _ in in_hand}, {coat for _, coat in in_hand}


def chosen_footing(query, keys, of_cell):
    """The Footing that the address asks for; where it leaves age or coat open, the cell that serves most things best.

    Best is the cell in which most of the things have a few animals; then a prime coat, which is what a coat is judged
    in; then the cell in which the smallest of the things has most.
    """
    if query.get("basis") == "all":
        return Footing(False)
    ages, coats = ages_and_coats(of_cell)
    asked_age, asked_coat = query.get("age", ""), query.get("coat", "")
    cells = sorted({
        (age, coat)
        for _, scope, age, coat, mode in of_cell
        if scope == "all" and mode == Mode.IN_HAND
        and (asked_age not in ages or age == asked_age)
        and (asked_coat not in coats or coat == asked_coat)
    })  # fmt: skip

    def worth(cell):
        animals = [of_cell.get((key, "all", *cell, Mode.IN_HAND), NOTHING).animals for key in keys]
        enough = sum(min(number, ENOUGH) for number in animals)
        return enough, cell[1] == CoatStage.PRIME, min(animals, default=0), sum(animals)

    if not cells:
        return Footing(True, asked_age if asked_age in ages else "", asked_coat if asked_coat in coats else "")
    return Footing(True, *max(cells, key=worth))


def standings(asked, footing, of_thing, of_cell, club):
    """One Standing for each thing, in order."""
    return [_standing(thing, asked.kind, footing, of_thing, of_cell, club) for thing in asked.things]


def _standing(thing, kind, footing, of_thing, of_cell, club):
    def number(scope, like):
        if like:
            return of_cell.get((thing.key, scope, footing.age, footing.coat, Mode.IN_HAND), NOTHING)
        return of_thing.get((thing.key, scope), NOTHING)

    every, mine = number("all", footing.like), number("open", footing.like)
    hidden = every.animals - mine.animals
    held = twoway.held_back(every.animals, every.herds, club) if hidden and kind.whole else ""
    whole = bool(hidden) and not held
    scope = "all" if whole else "open"
    counts = number(scope, footing.like)
    beside = number(scope, False).looks - counts.looks if footing.like else 0
    left_out = left_out_words(thing.key, scope, footing, of_cell) if beside else ""
    sentence = ""
    if not counts.looks and beside:
        sentence = f"{thing.name} has no look of this kind that you may see."
    elif not counts.looks:
        sentence = f"{thing.name} has no finished look that you may see."
    elif held:
        sentence = f"{held} Only what you may see look by look counts here."
    judged = twoway.not_ranked(counts.animals, counts.dams, club) if kind.code == "sires" and counts.looks else ""
    return Standing(thing, counts, whole, hidden, left_out, sentence, judged)


def left_out_words(key, scope, footing, of_cell):
    """'12 looks left out: 3 from photos, 7 at another age, 2 in another coat': each look under the first that fits."""
    photo = age = coat = 0
    for (its_key, its_scope, its_age, its_coat, mode), number in of_cell.items():
        if (its_key, its_scope) != (key, scope):
            continue
        if mode != Mode.IN_HAND:
            photo += number.looks
        elif its_age != footing.age:
            age += number.looks
        elif its_coat != footing.coat:
            coat += number.looks
    parts = [(photo, "from photos"), (age, "at another age"), (coat, "in another coat")]
    said = ", ".join(f"{number:,} {words}" for number, words in parts if number)
    return f"{count_words(photo + age + coat, 'look')} left out: {said}"


def age_word(code, profile):
    """The name of an age class in the profile, or its code made readable."""
    names = {row.code: row.name for row in profile.age_classes.all()} if profile else {}
    return names.get(code) or code.replace("-", " ").replace("_", " ").capitalize() or "Age not known"


def coat_word(code):
    return str(CoatStage(code).label) if code in CoatStage.values else "coat stage not told"


def footing_words(footing, profile):
    """What counts, in words."""
    if not footing.like:
        return "Every finished look counts: any age, any coat, in hand and from photos."
    return f"Only looks in hand count, of age class {age_word(footing.age, profile)}, {coat_word(footing.coat)}."
