"""What changed between two looks of an animal, and where a look stands beside its goal, in words."""

from herds.words import day_words, listed

from .models import CoatStage

SAME_WITHIN = 0.05
COLUMNS = ("surface", "undercolor", "reach")
MORE_LESS = {"surface": ("brighter", "darker"), "undercolor": ("darker", "paler"), "reach": ("deeper", "less deep")}
STAGES = {
    CoatStage.NEST: "still the nest coat",
    CoatStage.JUVENILE_MOLT: "in juvenile molt",
    CoatStage.INTERMEDIATE: "still intermediate",
    CoatStage.ADULT_MOLT: "in adult molt",
    CoatStage.PRIME: "prime",
    CoatStage.PAST_PRIME: "past prime",
}


def step_words(value):
    """'7' or '7.3': a step, or a mean of steps to one decimal."""
    return f"{value:.1f}".removesuffix(".0")


def changed_words(earlier, later):
    """One or two sentences: how surface, undercolor and reach went from the earlier look to the later."""
    days = (later.observed_on - earlier.observed_on).days
    when = "the same day" if days == 0 else f"{days} day{'s' if days != 1 else ''} later"
    parts = [part for name in COLUMNS if (part := column_words(name, earlier, later))]
    since = f"Since the look of {day_words(earlier.observed_on)} ({when})"
    if not parts:
        return f"{since}: nothing to compare, because one of the two tells neither surface nor undercolor."
    return f"{since}: {'; '.join(parts)}.{reservations(earlier, later)}"


def column_words(name, earlier, later):
    """'surface brighter, from 6 to 7'; '' when one of the two looks cannot tell."""
    before, after = getattr(earlier, name), getattr(later, name)
    if before is None or after is None:
        return ""
    unit = " tenths" if name == "reach" else ""
    if abs(after - before) < SAME_WITHIN:
        return f"{name} unchanged at {step_words(after)}{unit}"
    more, less = MORE_LESS[name]
    word = more if after > before else less
    return f"{name} {word}, from {step_words(before)} to {step_words(after)}{unit}"


def reservations(earlier, later):
    """What besides the coat itself may have made the difference."""
    reasons = []
    if earlier.observer_id != later.observer_id:
        reasons.append("another grader made it")
    if earlier.mode != later.mode:
        reasons.append(f"it was made {earlier.get_mode_display()} and this one {later.get_mode_display()}")
    if earlier.coat_stage and later.coat_stage and earlier.coat_stage != later.coat_stage:
        reasons.append(f"the coat was {STAGES[earlier.coat_stage]} then and {STAGES[later.coat_stage]} now")
    if earlier.light and later.light and earlier.light != later.light:
        reasons.append("the light was another")
    return f" Part of the difference may be the looking: {listed(reasons)}." if reasons else ""


def goal_words(look, goals, without_leeway=None):
    """Where surface, undercolor and reach stand beside their goals, as one sentence; '' when nothing is known.

    `goals` gives (low, high) by column, for the animal's age class; `without_leeway` the same for younger animals, so
    that what only the seniors' leeway covers is called faded and not hidden.
    """
    inside, outside = [], []
    for name in COLUMNS:
        value, goal = getattr(look, name), goals.get(name)
        if value is None or goal is None:
            continue
        more, less = MORE_LESS[name]
        if value < goal[0] - SAME_WITHIN:
            outside.append(f"{name} is {steps_off(name, goal[0] - value)} {less} than the goal")
        elif value > goal[1] + SAME_WITHIN:
            outside.append(f"{name} is {steps_off(name, value - goal[1])} {more} than the goal")
        elif (without_leeway or goals)[name][0] - SAME_WITHIN > value:
            outside.append(f"{name} has faded, within the leeway for seniors")
        else:
            inside.append(name)
    parts = [f"{listed(inside)} {'is' if len(inside) == 1 else 'are'} inside the goal"] if inside else []
    words = "; ".join(parts + outside)
    return f"{words[0].upper()}{words[1:]}." if words else ""


def steps_off(name, distance):
    unit = "tenth" if name == "reach" else "step"
    return f"{step_words(distance)} {unit}{'' if step_words(distance) == '1' else 's'}"


def why_provisional(look):
    """The reason why a look is provisional, to stand beside its badge; '' when it is not."""
    if not look.provisional:
        return ""
    reasons = []
    if look.silvering_complete is None:
        reasons.append("silvering not told")
    elif not look.silvering_complete:
        reasons.append("silvering not complete")
    if not look.coat_stage:
        reasons.append("coat stage not told")
    elif look.coat_stage != CoatStage.PRIME:
        reasons.append(f"coat {STAGES[look.coat_stage]}")
    return listed(reasons)
