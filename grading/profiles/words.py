"""An edition's document in words, item by item, as people read and compare it."""

from dataclasses import dataclass

from grading.models import FindingKind, ProfileFinding, Trait
from herds.units import weight_words
from herds.words import day_words, listed

EFFECTS = {**dict(ProfileFinding.Effect.choices)}
BASIS = {"behind": "Traits behind it", "faults": "Findings behind it"}
SEXES = {"both": "buck and doe", "": "buck and doe", "buck": "buck", "doe": "doe"}


@dataclass(frozen=True)
class Item:
    """One thing of an edition: what it is called, and its facts by label."""

    title: str
    facts: dict


class Names:
    """Names of traits and findings by code, the registry's own before those that a document brings along."""

    def __init__(self, *documents):
        self.traits, self.kinds = {}, {}
        for document in documents:
            self.traits |= {code: row["name"] for code, row in document.get("new_traits", {}).items()}
            self.kinds |= {code: row["name"] for code, row in document.get("new_findings", {}).items()}
        self.traits |= dict(Trait.objects.values_list("code", "name"))
        self.kinds |= dict(FindingKind.objects.values_list("code", "name"))


def told(document, names, unit):
    """{section's title: {key: Item}} of a whole document. `unit` is how the reader weighs."""
    return {
        "About the edition": about(document["profile"], document["breed"]),
        "Points": positions(document["positions"], names),
        "Ages and weights": age_classes(document["age_classes"], unit),
        "Points by weight": weight_bands(document.get("weight_bands", []), document["age_classes"], unit),
        "Traits and goals": traits(document["traits"], names),
        "Findings": findings(document["findings"], names),
    }


def about(given, breed=None):
    """The head of the edition, one item a line, so that each line is compared by itself."""
    lines = {
        "breed": ("Breed", breed["name"] if breed else None),
        "association": ("Association", given["association"]),
        "name": ("Name", given["name"]),
        "edition": ("Edition", given["edition"]),
        "in_force_from": ("In force from", _day(given["in_force_from"])),
        "in_force_until": ("In force until", _day(given.get("in_force_until"))),
        "points_total": ("Points in all", str(given["points_total"])),
        "official": ("Official", "yes" if given["official"] else "no"),
        "source": ("Source", given["source"]),
    }
    return {key: Item(label, {"": words}) for key, (label, words) in lines.items() if words}


def _day(day):
    return day_words(day) if day else ""


def positions(given, names):
    found = {}
    for whole in given:
        found[whole["code"]] = Item(whole["name"], _points(whole, names))
        for part in whole.get("parts", []):
            found[part["code"]] = Item(part["name"], {"Part of": whole["name"]} | _points(part, names))
    return found


def _points(row, names):
    facts = {"Called": row["name"]} | numbers(row)
    facts |= {"Given in": "half points"} if row.get("step", 1) != 1 else {}
    facts |= {"By weight": "yes, from the weight table"} if row.get("by_weight") else {}
    for label, known in (("behind", names.traits), ("faults", names.kinds)):
        if row.get(label):
            facts[BASIS[label]] = listed([known.get(code, code) for code in row[label]])
    return facts


def numbers(row):
    """What a position is worth."""
    facts = {"Points": points_words(row["points"])}
    return facts | ({"Floor": points_words(row["floor"])} if row.get("floor") is not None else {})


def points_words(number):
    return "none" if number is None else f"{number:g}"


def months_words(months):
    """'under 6 months', '6 to under 8 months', '8 months and over'."""
    start, *end = months
    if not end:
        return f"{start} months and over" if start else "every age"
    return f"{start} to under {end[0]} months" if start else f"under {end[0]} months"


def age_classes(given, unit):
    found = {}
    for row in given:
        facts = {"Called": row["name"]} | ({"Age": months_words(row["months"])} if "months" in row else {})
        for sex, limits in row.get("weights_g", {}).items():
            words = [
                f"{which} {weight_words(limits[which], unit)}"
                for which in ("lowest", "ideal", "highest")
                if which in limits
            ]
            facts[f"Weight, {SEXES[sex]}"] = ", ".join(words) or "no limit"
        found[row["code"]] = Item(row["name"], facts)
    return found


def weight_bands(given, classes, unit):
    """Bands by whom they are for: one item for each group, one fact for each band."""
    called = {row["code"]: row["name"] for row in classes}
    found = {}
    for band in given:
        whose = called.get(band.get("age_class"), "Every age")
        title = f"{whose}, {SEXES[band.get('sex', '')]}"
        item = found.setdefault((band.get("age_class"), band.get("sex")), Item(title, {}))
        item.facts[band_words(band["grams"], unit)] = f"{points_words(band['points'])} points"
    return found


def band_words(grams, unit):
    """'3.50 kg to 3.699 kg', '11 lb and over'."""
    low, *high = (weight_words(each, unit) for each in grams)
    return f"{low} to {high[0]}" if high else f"{low} and over"


def range_words(steps):
    low, high = steps
    return f"{low}" if low == high else f"{low} to {high}"


def trait_facts(row):
    """Goal, leeway, reason and steps of one trait."""
    facts = {"Goal": range_words(row["goal"]) if row.get("goal") else "none"}
    if row.get("senior"):
        facts["Goal for seniors"] = range_words(row["senior"])
    if row.get("why"):
        facts["Why"] = row["why"]
    return facts | {f"Step {step}": words for step, words in row.get("steps", {}).items()}


def traits(given, names):
    return {code: Item(names.traits.get(code, code), trait_facts(row)) for code, row in given.items()}


def findings(given, names):
    return {
        code: Item(
            names.kinds.get(code, code),
            {"Means": EFFECTS.get(row["effect"], "")} | ({"Why": row["why"]} if row.get("why") else {}),
        )
        for code, row in given.items()
    }


def counted(document):
    """'4 positions, 3 age classes, 29 traits and 10 findings'."""
    parts = (
        (sum(1 + len(whole.get("parts", [])) for whole in document["positions"]), "position"),
        (len(document["age_classes"]), "age class"),
        (len(document["traits"]), "trait"),
        (len(document["findings"]), "finding"),
    )
    plural = {"age class": "age classes"}
    return listed([f"{n} {word if n == 1 else plural.get(word, word + 's')}" for n, word in parts])
