"""Merits in words: how well one is known, and a step with its interval."""

from grading.figures import percent

KNOWN = (
    (0.05, "not known"),
    (0.3, "hardly known"),
    (0.5, "roughly known"),
    (0.7, "fairly well known"),
    (0.85, "well known"),
)
NO_RUN = "The club has not evaluated this breed yet. An officer starts an evaluation, or the night does."
NOT_SHARED = "The herd that keeps this animal does not share merits with the club."
NOT_IN_RUN = "This animal is not in the last evaluation: it was entered later, or no look says anything of it yet."
WHAT_IT_IS = (
    "A merit says what an animal breeds on, on the scale of steps: the step that an animal of this merit would be "
    "given grown, in prime coat, in hand, by an average grader. It is told from looks at the animal and at its "
    "relatives."
)


def known_words(reliability):
    """'roughly known' and its like, for a reliability of 0 to 1."""
    return next((words for limit, words in KNOWN if reliability < limit), "very well known")


def cases(chance):
    """'73 of 100': a chance in cases; what is nearly sure is not said to be sure."""
    if chance > 0.995:
        return "over 99 of 100"
    return "under 1 of 100" if chance < 0.005 else f"{chance * 100:.0f} of 100"


def step_words(merit):
    """'6.4', a merit on the scale of steps; None reads as a dash."""
    return "–" if merit is None else f"{merit.step:.1f}"


def interval_words(merit):
    """'5.6 to 7.2': where the true merit lies in 95 of 100 cases."""
    return "–" if merit is None else f"{merit.low:.1f} to {merit.high:.1f}"


def goal_words(goal):
    """'6 to 8', or a dash where the profile has no goal."""
    if not goal:
        return "–"
    return f"{goal[0]}" if goal[0] == goal[1] else f"{goal[0]} to {goal[1]}"


def row_of(evaluation, merit, goal):
    """A line of a table of merits. A trait in which the run saw nothing inherited tells no animal from another."""
    if not evaluation.variances.get("animal"):
        nothing = {"step": "–", "interval": "–", "reliability": "–", "known": "nothing inherited seen in the breed"}
        return {"trait": evaluation.trait, "goal": goal_words(goal), **nothing}
    return {
        "trait": evaluation.trait,
        "step": step_words(merit),
        "interval": interval_words(merit),
        "reliability": percent(merit.reliability),
        "known": known_words(merit.reliability),
        "goal": goal_words(goal),
    }


def coat_of(surface, undercolor):
    """What components/coat.html takes, from the MeritOf of surface shade and of undercolor; each may be None."""
    coat = {}
    for name, merit in (("surface", surface), ("undercolor", undercolor)):
        coat[name] = None if merit is None else min(9, max(1, round(merit.step)))
        coat[f"{name}_text"] = step_words(merit)
    return coat
