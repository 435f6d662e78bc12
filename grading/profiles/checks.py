"""What keeps a draft from being published, in sentences; and what an officer should know but may leave."""

from collections import Counter
from itertools import pairwise

from .words import points_words


def hindrances(document):
    """Sentences that must be settled before the edition is published; an empty list when it may be."""
    return [
        *points_problems(document),
        *age_problems(document["age_classes"]),
        *weight_problems(document),
        *_nothing_to_grade(document),
    ]


def points_problems(document):
    """Positions against the schedule's total, parts against their whole."""
    total = document["profile"]["points_total"]
    found = [_sum_problem("The positions", document["positions"], "the schedule's total is", total)]
    for whole in document["positions"]:
        if parts := whole.get("parts"):
            found.append(_sum_problem(f"The parts of {whole['name']}", parts, "the position has", whole["points"]))
    return [sentence for sentence in found if sentence]


def _sum_problem(what, rows, wanted_words, wanted):
    have = sum(row["points"] for row in rows)
    if have == wanted:
        return ""
    gap = abs(wanted - have)
    off = f"{points_words(gap)} {'is' if gap == 1 else 'are'} {'missing' if have < wanted else 'too many'}"
    return f"{what} add up to {points_words(have)} points, and {wanted_words} {points_words(wanted)}: {off}."


def age_problems(classes):
    """Gaps and overlaps between age classes, by whole months."""
    if not classes:
        return ["There is no age class. Add one at least, if only for every age."]
    found = []
    for name, times in Counter(each["name"].casefold() for each in classes).items():
        if times > 1:
            found.append(f"Two age classes are called {name}. Give each a name of its own.")
    in_order = sorted(classes, key=lambda each: each["months"][0])
    for younger, older in pairwise(in_order):
        end = younger["months"][1:]
        begins = older["months"][0]
        if not end or end[0] > begins:
            until = f"at {end[0]} months" if end else "at no age"
            found.append(f"{younger['name']} ends {until}, yet {older['name']} begins at {begins}: they overlap.")
        elif end[0] < begins:
            found.append(
                f"Between {younger['name']} and {older['name']}, from {end[0]} to {begins} months, is no class."
            )
    return found


def weight_problems(document):
    """The position that takes its points from the weight table, against that table."""
    rows = [row for whole in document["positions"] for row in (whole, *whole.get("parts", []))]
    by_weight = next((row for row in rows if row.get("by_weight")), None)
    bands = document.get("weight_bands", [])
    if by_weight is None:
        return ["There is a weight table, and no position takes its points from it. Tick one."] if bands else []
    name, points = by_weight["name"], by_weight["points"]
    if not bands:
        return [f"{name} takes its points from the weight table, which is empty. Fill it, or give {name} by hand."]
    if by_weight.get("parts"):
        return [f"{name} takes its points from the weight table, so it cannot have parts."]
    most = max(band["points"] for band in bands)
    if most <= points:
        return []
    return [f"The weight table gives up to {points_words(most)} points, and {name} has {points_words(points)}."]


def _nothing_to_grade(document):
    return [] if document["traits"] else ["There is no trait, so nothing could be graded. Add the traits first."]


def remarks(document, names):
    """Sentences about what is unusual, though it may be meant."""
    found = []
    classes = sorted(document["age_classes"], key=lambda each: each["months"][0])
    if classes and classes[0]["months"][0]:
        found.append(f"Animals under {classes[0]['months'][0]} months are in no age class.")
    if classes and len(classes[-1]["months"]) == 2:
        found.append(f"Animals of {classes[-1]['months'][1]} months and over are in no age class.")
    seniors = any(row.get("senior") for row in document["traits"].values())
    if seniors and not any(row["code"] == "senior" for row in classes):
        found.append("Some traits have a goal for seniors, and no age class is called Senior.")
    bare = [names.traits.get(code, code) for code, row in document["traits"].items() if not row.get("steps")]
    if bare:
        found.append(f"No step is described in words for: {', '.join(bare)}.")
    return found
