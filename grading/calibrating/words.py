"""What a grader's result says, kindly and in words, with its interval and its count."""

from dataclasses import dataclass

from grading.figures import percent

LITTLE = 0.25  # steps: a lean smaller than this is no lean to speak of
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
            "With yourself, on photos shown twice", self_agreed(data["self_agreement"]), figure(data["self_agreement"])
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


def lean(trait, data):
    if data["value"] is None:
        return none(data)
    more, less = ends_of(trait)
    steps = abs(data["value"])
    if steps < LITTLE:
        return "You lean no way to speak of."
    words = f"{steps:.1f} {'step' if 0.95 <= steps < 1.05 else 'steps'} {more if data['value'] > 0 else less}"
    if not clear(data):
        return f"You may see it {words} than the others; so few photos cannot say for sure."
    return f"You see it {words} than the others."


def agreed(data):
    if data["value"] is None:
        return none(data)
    return next(words for least, words in AGREEMENT if data["value"] >= least) + "."


def spread(data):
    if data["value"] is None:
        return none(data)
    if data["low"] is not None and data["low"] > 1.1:
        return "You use more of the scale than the others: your ends lie further out."
    if data["high"] is not None and data["high"] < 0.9:
        return "You use less of the scale than the others: your steps stay near the middle. Dare the ends."
    return "You use about as much of the scale as the others."


def self_agreed(data):
    if data["value"] is None:
        return none(data)
    if data["value"] >= 0.8:
        return "Shown a photo again, you gave nearly the same step."
    if data["value"] >= 0.5:
        return "Shown a photo again, you gave a step near the first one."
    return "Shown a photo again, you often gave another step. A rest, and the described steps beside you, help."


def drift(trait, data):
    if data["value"] is None:
        return none(data)
    more, less = ends_of(trait)
    if abs(data["value"]) < LITTLE or not clear(data):
        return "You see it as you did last year."
    return f"You see it {abs(data['value']):.1f} steps {more if data['value'] > 0 else less} than last year."


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
