"""Sentences about what most animals of a herd share."""

from dataclasses import dataclass

from grading.barn.shared import Part, Standing
from grading.merit_words import goal_words


def short(animal):
    """Mark and name; 'animal 12' where it has neither."""
    return " ".join(filter(None, (animal.mark_text, animal.name))) or f"animal {animal.pk}"


@dataclass(frozen=True)
class Line:
    """A trait and how the animals stand to its goal."""

    trait: object
    standing: Standing
    goal: tuple | None

    @property
    def said(self):
        """'12 of 16 (51 to 90 %) lie below the goal of 6 to 8, towards "coarse".'"""
        stand, trait = self.standing, self.trait
        goal = f"the goal of {goal_words(self.goal)}" if self.goal else "the goal"
        if stand.verdict == "inside":
            return f"{stand.inside.words} lie in {goal}."
        if stand.verdict == "below":
            return f"{stand.below.words} lie below {goal}, towards “{trait.low_words}”."
        if stand.verdict == "above":
            return f"{stand.above.words} lie above {goal}, towards “{trait.high_words}”."
        outside = Part(stand.below.k + stand.above.k, stand.n)
        if stand.verdict == "outside":
            return f"{outside.words} lie outside {goal}: {stand.below.k} below, {stand.above.k} above."
        return f"{stand.inside.words} lie in {goal}, {stand.below.k} below, {stand.above.k} above."


def pair_sentence(surface, undercolor):
    """How the animals stand to both goals, always surface and undercolor together; '' where either was not graded."""
    if not surface or not undercolor:
        return ""
    bright, dark = surface[1], undercolor[1]
    return (
        f"Surface shade: {bright.inside.words} lie in the goal, {bright.below.k} darker, {bright.above.k} brighter. "
        f"Undercolor: {dark.inside.words} lie in the goal, {dark.below.k} too light below, {dark.above.k} darker."
    )
