"""What has to be said beside a run's figures, with levels in words and graders by name only where a name is known."""

from collections import Counter

from grading.level_words import EFFECT_WORDS, graders_of, level_words
from herds.words import count_words

from .graders import off_words

MOST_SAID = 8
PAIR = ("of surface shade", "of undercolor")
GRADERS = "grader and year"


def untold_words(untold, names):
    """The sentence on levels of one effect that cannot be told apart from the other effects.

    untold : {"effect", "levels", "trait"} as a run keeps it. names : {member key: name} of graders to be named.
    """
    said = Counter(level_words(untold["effect"], key, names) for key in untold["levels"])
    words = [each if n == 1 else f"{each} ({n} times)" for each, n in said.items()]
    rest = len(words) - MOST_SAID
    listed = ", ".join(words[:MOST_SAID]) + (f" and {count_words(rest, 'more', 'more')}" if rest > 0 else "")
    effect = EFFECT_WORDS.get(untold["effect"], untold["effect"])
    return (
        f"Not to be told apart by {effect}: {listed}. Too few looks differ in that and in nothing else, so these count "
        "as nothing here, and a difference to them means nothing by itself."
    )


def sentences(evaluation, names):
    """All sentences beside a trait's figures, graders named where `names` has them."""
    untold = evaluation.connections.get("untold", [])
    off = evaluation.connections.get("off", [])
    neutral = {*(untold_words(each, {}) for each in untold), off_words(off)}
    told = [each for each in evaluation.warnings if each not in neutral]
    named = [off_words(off, names)] if off else []
    return [*told, *named, *(untold_words(each, names) for each in untold)]


def pair_sentences(together, names):
    """All sentences beside surface shade and undercolor solved together; each says of which trait it speaks."""
    untold = (together or {}).get("untold", [])
    neutral = {untold_words(each, {}) for each in untold}
    told = [each for each in (together or {}).get("warnings", []) if each not in neutral]
    return [*told, *(f"{untold_words(each, names)[:-1]} ({PAIR[each['trait']]})." for each in untold)]


def graders_named_in(evaluations):
    """The member keys that warnings and fixed effects of some evaluations speak of."""
    keys = set()
    for each in evaluations:
        keys |= graders_of(each.fixed.get(GRADERS, {}))
        keys |= {member for member, *_ in each.connections.get("off", [])}
        for untold in each.connections.get("untold", []):
            if untold["effect"] == GRADERS:
                keys |= graders_of(untold["levels"])
    return keys
