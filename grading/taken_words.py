"""What the model took away, in sentences that a breeder would say."""

from grading.figures import signed
from herds.words import count_words, listed

TELLS = 0.05  # half of the last digit said: less is no difference in words
# What more and less of a trait is called; every other trait reads by the words at the ends of its scale.
WAYS = {
    "surface": ("brighter", "darker"),
    "undercolor": ("darker underneath", "paler underneath"),
    "reach": ("with colour deeper down", "with colour less deep"),
}
LEAN = {"surface", "undercolor", "reach"}  # more of these is what breeders wish for, so more is lenient


def way(trait, steps):
    """'brighter' or 'darker', or which end of the scale a difference lies towards."""
    more = steps > 0
    if trait.summary in WAYS:
        return WAYS[trait.summary][0 if more else 1]
    return f"nearer to “{trait.high_words if more else trait.low_words}”"


def size(steps):
    """'0.4', '1 step' is never said: one decimal, without sign."""
    return f"{abs(steps):.1f}"


def sentences(found):
    """One to three sentences on a TakenAway: how they were graded, what made it, and what is left."""
    said = [_graded(found), _made(found), _left(found)]
    return " ".join(each for each in said if each)


def _tells(steps):
    return abs(steps) >= TELLS


def _graded(found):
    who = f"His {count_words(found.kits, 'kit')}"
    if not _tells(found.difference):
        return f"{who} were graded like the breed's average look."
    by = f"{size(found.difference)} steps {way(found.trait, found.difference)}"
    return f"{who} were graded {by} than the breed's average look."


def _made(found):
    taken, difference, left = found.taken, found.difference, found.left
    if not found.parts:
        return ""
    if not _tells(taken):
        cancel = [part for part in found.parts if abs(part.steps) >= 2 * TELLS]
        if cancel:
            return f"What grader, coat, age and season made cancels out: {_with_sizes(found, cancel)}."
        return "Grader, coat, age and season made no difference."
    causes = _causes(found, taken)
    like = f"like for like they are {size(left)} steps {way(found.trait, left)} than average" if _tells(left) else (
        "like for like they are average"
    )  # fmt: skip
    if not _tells(difference):
        return f"But {causes} made {size(taken)} steps; {like}."
    if taken * difference < 0:
        return f"{_capital(causes)} hid {size(taken)} more: {like}."
    if _tells(left) and left * difference < 0:
        return f"{_capital(causes)} alone made {size(taken)}; {like}."
    return f"{size(taken)} of that is {causes}."


def _left(found):
    if not found.parts and found.own is None:
        return ""
    parts = []
    if found.own is not None:
        parts.append(f"{signed(found.own, 1)} from him")
    if found.dams is not None:
        parts.append(f"{signed(found.dams, 1)} from their dams")
    if not parts:
        return ""
    if not _tells(found.left) and not _tells(found.own or 0.0):
        return "Nothing to speak of is left for the kits themselves." if found.parts else ""
    parts.append(f"{signed(found.rest, 1)} from neither: the draw of the genes, rearing, and what looks miss")
    head = f"What is left, {signed(found.left, 1)}, is the kits' own" if found.parts else "Of it the kits' own is"
    return f"{head}: {listed(parts)}."


def _capital(text):
    return text[:1].upper() + text[1:]


def _causes(found, sign):
    """The parts that pull that way, the largest first, in words."""
    pulling = [part for part in found.parts if part.steps * sign > 0]
    pulling.sort(key=lambda part: -abs(part.steps))
    least = max(TELLS, abs(sign) / 5)
    telling = [part for part in pulling if abs(part.steps) >= least][:3] or pulling[:1]
    return listed([cause(found.trait, part) for part in telling])


def _with_sizes(found, parts):
    parts = sorted(parts, key=lambda part: -abs(part.steps))[:3]
    return listed([f"{signed(part.steps, 1)} {cause(found.trait, part)}" for part in parts])


def cause(trait, part):
    """What a part comes from: 'a lenient grader', 'more looks in prime coat', 'looks at an older age'."""
    return CAUSES[part.effect](trait, part)


def _grader(trait, part):
    one = part.graders == 1
    if trait.summary in LEAN:
        word = "lenient" if part.steps > 0 else "strict"
        return f"a {word} grader" if one else f"{word} graders"
    word = "high" if part.steps > 0 else "low"
    return f"a grader who gives {word} steps" if one else f"graders who give {word} steps"


def _strongest(part):
    """(words, whether his looks hold more of it than the breed's) of the level that makes most of a part."""
    pull = [(each, (each.share - each.share_of_all) * each.steps) for each in part.levels]
    level, _ = max(pull, key=lambda pair: pair[1] if part.steps > 0 else -pair[1])
    return level.words, level.share > level.share_of_all


def _coat(_trait, part):
    words, more = _strongest(part)
    return f"{'more' if more else 'fewer'} looks in {words}" if "not noted" not in words else "coats not noted"


def _mode(_trait, part):
    words, more = _strongest(part)
    return f"{'more' if more else 'fewer'} looks {words}"


def _age(_trait, part):
    if abs(part.age_lead) < 1 / 12:
        return "the ages at which they were looked at"
    return f"looks at {'an older' if part.age_lead > 0 else 'a younger'} age"


def _half_year(trait, part):
    return f"seasons in which all were graded {way(trait, part.steps)}"


CAUSES = {"grader and year": _grader, "coat stage": _coat, "mode": _mode, "age": _age, "half-year": _half_year}


def counts_of(part):
    """What stands behind a part: '3 graders, 41 looks', 'prime coat 20, intermediate coat 9'."""
    if part.graders:
        return count_words(part.graders, "grader")
    seen = [level for level in part.levels if level.looks]
    shown = [f"{level.words} {level.looks}" for level in seen[:3]]
    if len(seen) > 3:
        shown.append(f"{len(seen) - 3} more")
    return ", ".join(shown)
