"""What a grader's result says, kindly and in words, with its interval and its count.

No sentence says more than its interval: that there is nothing to see is said only where the interval is narrow enough.
"""

from dataclasses import dataclass

from grading.figures import percent

LITTLE = 0.25  # steps: a lean smaller than this is no lean to speak of
NARROW = 0.5  # steps: "no lean" is said where the interval holds none larger; common practice, no source
ALIKE = (0.8, 1.25)  # uses of the scale that a run of the model lets pass (DEVELOPERS, decision 28)
WIDE = 0.5  # of a kappa: an interval wider than this names no grade of agreement; our own choice
FEW_DOUBLES = 5
AGREEMENT = (  # from below: common practice, no source for the borders
    (0.8, "You see it as the others do"),
    (0.6, "You mostly see it as the others do"),
    (0.4, "You see it somewhat as the others do"),
    (-2.0, "You see it otherwise than the others"),
)


@dataclass(frozen=True)
class Line:
    """One figure of a result: its name, what it says in a sentence, and the figure with its interval."""

    name: str
    said: str
    figure: str


def figure(data, digits=2, sign=False):
    """'0.42 (0.10 to 0.74, from 18)'; the note where there is no value."""
    if data["value"] is None:
        return data["note"]
    form = f"{{:{'+' if sign else ''}.{digits}f}}"
    value = form.format(data["value"])
    if data["low"] is None or data["high"] is None:
        return f"{value} (from {data['n']})"
    return f"{value} ({form.format(data['low'])} to {form.format(data['high'])}, from {data['n']})"


def ends_of(trait):
    """What a higher and a lower step of a trait are called: 'brighter', 'darker'."""
    if trait.summary == "surface":
        return "brighter", "darker"
    if trait.summary == "undercolor":
        return "darker", "lighter"
    if trait.summary == "reach":
        return "deeper", "less deep"
    return f"nearer to “{trait.high_words}”", f"nearer to “{trait.low_words}”"


def lines(trait, data):
    """Lines of one trait's result, the most useful first."""
    found = [
        Line("Lean", lean(trait, data["lean"]), figure(data["lean"], sign=True)),
        Line("Agreement with the others", agreed(data["agreement"]), figure(data["agreement"])),
        Line("Use of the scale", spread(data["spread"]), figure(data["spread"])),
        Line(
            "With yourself, on photos shown twice",
            self_agreed(data["self_agreement"], data["self_scatter"]),
            figure(data["self_agreement"]),
        ),
        Line("Since last year", drift(trait, data["drift"]), figure(data["drift"], sign=True)),
    ]
    if trait.section != 4:
        found.append(Line("Type and colour", halo(trait, data["halo"]), figure(data["halo"], sign=True)))
    tell = data["cannot_tell"]
    if tell["value"]:
        found.append(
            Line("Cannot tell", f"You could not tell in {percent(tell['value'])} of the photos.", figure(tell))
        )
    return found


def none(data):
    return data["note"] or "It cannot be told yet."


def clear(data):
    """Whether the whole interval lies on one side of zero."""
    return data["low"] is not None and data["high"] is not None and (data["low"] > 0 or data["high"] < 0)


def hides(data):
    """The largest lean that the interval still holds, in steps; None without an interval."""
    return None if data["low"] is None or data["high"] is None else max(-data["low"], data["high"])


def steps_words(steps):
    return f"{steps:.1f} {'step' if 0.95 <= steps < 1.05 else 'steps'}"


def lean(trait, data):
    if data["value"] is None:
        return none(data)
    more, less = ends_of(trait)
    steps, most = abs(data["value"]), hides(data)
    if steps < LITTLE and most is not None and most <= NARROW:
        return "You lean no way to speak of."
    if steps < LITTLE and not clear(data):
        hidden = f"hide one of {steps_words(most)}" if most is not None else "hide any"
        return f"No lean shows, but so few photos could {hidden}."
    words = f"{steps_words(steps)} {more if data['value'] > 0 else less}"
    if not clear(data):
        return f"You may see it {words} than the others; so few photos cannot say for sure."
    return f"You see it {words} than the others."


def agreed(data):
    if data["value"] is None:
        return none(data)
    if data["low"] is None or data["high"] is None or data["high"] - data["low"] > WIDE:
        return "So few photos cannot say how alike you and the others see it."
    return next(words for least, words in AGREEMENT if data["value"] >= least) + "."


def spread(data):
    if data["value"] is None:
        return none(data)
    if data["low"] is None or data["high"] is None:
        return data["note"]
    if data["low"] > 1.1:
        return "You use more of the scale than the others: your ends lie further out."
    if data["high"] < 0.9:
        return "You use less of the scale than the others: your steps stay near the middle. Dare the ends."
    if data["low"] >= ALIKE[0] and data["high"] <= ALIKE[1]:
        return "You use about as much of the scale as the others."
    return "So few photos cannot say whether you use more or less of the scale than the others."


def self_agreed(data, scatter):
    """`data` : kappa of both answers; `scatter` : standard deviation of one answer, in steps, from the same photos."""
    if scatter["value"] is None:
        return none(scatter)
    apart, n = scatter["value"] * 2**0.5, scatter["n"]
    photos = "one photo" if n == 1 else f"{n} photos"
    if apart < 0.05:
        words = f"Shown {photos} again, you gave the same step each time."
    else:
        words = f"Shown {photos} again, you gave a step about {apart:.1f} away from the first."
    if n < FEW_DOUBLES:
        return f"{words} So few cannot say how steady you are."
    if data["high"] is not None and data["high"] < 0.5:
        return f"{words} A rest, and the described steps beside you, help."
    return words


def drift(trait, data):
    if data["value"] is None:
        return none(data)
    more, less = ends_of(trait)
    steps, most = abs(data["value"]), hides(data)
    if steps < LITTLE and most is not None and most <= NARROW:
        return "You see it as you did last year."
    if steps < LITTLE and not clear(data):
        return "No change since last year shows, but so few photos could hide one."
    words = f"{steps_words(steps)} {more if data['value'] > 0 else less}"
    if not clear(data):
        return f"You may see it {words} than last year; so few photos cannot say for sure."
    return f"You see it {words} than last year."


def halo(trait, data):
    if data["value"] is None:
        return none(data)
    if not clear(data) or abs(data["value"]) < 0.1:
        return "An animal's type does not sway your steps, as far as this set can tell."
    more, less = ends_of(trait)
    way = more if data["value"] > 0 else less
    return f"Animals of better type look {abs(data['value']):.1f} steps {way} to you, for each step of type."


def together(data):
    """(name, figure) of how alike all graders are in a trait."""
    return [
        ("Krippendorff's alpha, ordinal", figure(data["alpha"])),
        ("One grader's step, ICC(2,1)", figure(data["icc"])),
        ("Quadratic weighted kappa, mean over pairs", pairs(data["kappa"])),
    ]


def pairs(data):
    if data["value"] is None:
        return data["note"]
    return f"{data['value']:.2f} (pairs from {data['low']:.2f} to {data['high']:.2f}, {data['n']} of them)"
