"""What stands on a pedigree certificate, as plain words: the animal, its ancestors, and what is missing."""

from django.db.models import Prefetch

from herds.models import Animal, Mark, MarkKind, Sex, Weight
from herds.units import kg_words, weight_words
from herds.words import add_months, count_words, day_words, listed

GENERATIONS = (3, 4)
COLUMNS = ("Parents", "Grandparents", "Great-grandparents", "Great-great-grandparents")
REGISTRATION_MONTHS = 6  # common practice, no source


def ancestors(animal, generations):
    """{path: Animal} of the known ancestors, by paths such as 'S' (sire) or 'DS' (the dam's sire)."""
    found = {"": animal}
    marks = Prefetch("marks", Mark.objects.current().as_read(), to_attr="current_marks")
    for generation in range(1, generations + 1):
        above = {path: one for path, one in found.items() if len(path) == generation - 1}
        wanted = {}
        for path, one in above.items():
            wanted |= {path + "S": one.sire_id, path + "D": one.dam_id}
        rows = Animal.objects.select_related("breed", "bred_in").prefetch_related(marks)
        rows = rows.in_bulk({key for key in wanted.values() if key})
        found |= {path: rows[key] for path, key in wanted.items() if key}
    del found[""]
    return found


def weights_of(animals, member):
    """{animal key: grams} of each animal's last weighing, as far as the member may see it."""
    rows = Weight.objects.visible_to(member).filter(animal__in=[each.pk for each in animals])
    rows = rows.order_by("animal", "-on", "-pk").distinct("animal")
    return dict(rows.values_list("animal", "grams"))


def person(animal, grams):
    """One animal's words on paper: mark, name, facts, and what registration asks for but nobody recorded."""
    marks = {mark.kind: mark.text for mark in reversed(animal.current_marks)}
    ear = marks.get(MarkKind.LEFT_EAR, "") or marks.get(MarkKind.RIGHT_EAR, "") or marks.get(MarkKind.RING, "")
    weight = f"{kg_words(grams)} kg ({weight_words(grams, 'lb_oz')})" if grams else ""
    facts = [
        f"reg. {marks[MarkKind.REGISTRATION]}" if MarkKind.REGISTRATION in marks else "",
        f"born {day_words(animal.born_on)}" if animal.born_on else "",
        animal.variety,
        weight,
    ]
    missing = [
        word
        for word, there in (
            ("mark", ear),
            ("birth date", animal.born_on),
            ("variety", animal.variety),
            ("weight", weight),
        )
        if not there
    ]
    return {"mark": ear, "name": animal.name, "facts": [fact for fact in facts if fact], "missing": missing}


def role_of(path):
    return "Sire" if path[-1] == "S" else "Dam"


def row_of(path):
    """The row of a cell among the 2^n of its own generation, the sire's side first."""
    return int(path.replace("S", "0").replace("D", "1"), 2)


def long_role(path):
    """'sire', 'dam of the sire', 'sire of the dam of the sire': how a missing ancestor is named in a sentence."""
    words = ["sire" if side == "S" else "dam" for side in reversed(path)]
    return " of the ".join(words)


def paths(generations):
    """All paths, generation by generation, the sire's side first."""
    level = [""]
    for _ in range(generations):
        level = [path + side for path in level for side in "SD"]
        yield from level


def pedigree(animal, generations, member):
    """The data of the certificate but for its number, day, club and codes: animal, headings, cells and sentences."""
    animal = (
        Animal.objects.select_related("breed", "bred_in")
        .prefetch_related(Prefetch("marks", Mark.objects.current().as_read(), to_attr="current_marks"))
        .get(pk=animal.pk)
    )
    known = ancestors(animal, generations)
    weights = weights_of([animal, *known.values()], member)
    cells = []
    for path in paths(generations):
        one = known.get(path)
        cell = {"path": path, "role": role_of(path), "generation": len(path), "known": one is not None}
        cell["row"] = row_of(path) << (generations - len(path))
        cell |= person(one, weights.get(one.pk)) if one else {"mark": "", "name": "", "facts": [], "missing": []}
        cells.append(cell)
    own = person(animal, weights.get(animal.pk))
    sex = "sex unknown" if animal.sex == Sex.UNKNOWN else animal.get_sex_display()
    own["facts"] = [str(animal.breed), sex, *own["facts"], f"bred by {animal.breeder}"]
    return {
        "generations": generations,
        "animal": own,
        "headings": list(COLUMNS[:generations]),
        "cells": cells,
        "complete": complete_words(cells),
        "sentences": [],
    }


def complete_words(cells):
    """How many ancestors and facts are there, in a sentence or two."""
    known = [cell for cell in cells if cell["known"]]
    facts = sum(len(cell["missing"]) for cell in known)
    words = f"{len(known)} of {count_words(len(cells), 'ancestor')} known."
    if len(known) == len(cells) and not facts:
        return f"All {len(cells)} ancestors known, each with mark, birth date, variety and weight."
    return words + (f" {count_words(facts, 'fact')} of the known ones not recorded." if facts else "")


def wanting(data):
    """What is missing, one line an ancestor: [(who, [what])]; the first generations first."""
    lines = []
    if data["animal"]["missing"]:
        lines.append(("the animal itself", data["animal"]["missing"]))
    for cell in data["cells"]:
        if not cell["known"]:
            if len(cell["path"]) == 1 or _known(data, cell["path"][:-1]):
                lines.append((f"the {long_role(cell['path'])}", ["not known"]))
        elif cell["missing"]:
            name = " ".join(filter(None, (cell["mark"], cell["name"])))
            lines.append((f"the {long_role(cell['path'])}{f' ({name})' if name else ''}", cell["missing"]))
    return lines


def _known(data, path):
    return any(cell["path"] == path and cell["known"] for cell in data["cells"])


def registration_checks(animal, data, on):
    """[(met, sentence)]: what registration usually asks for, as far as the registry can tell.

    Common practice, no source; the club's own rules decide, and the registrar looks at weight and disqualifications.
    """
    three = [cell for cell in data["cells"] if cell["generation"] <= 3]
    old = animal.born_on and add_months(animal.born_on, REGISTRATION_MONTHS) <= on
    ear = animal.marks.current().filter(kind=MarkKind.LEFT_EAR).exists()
    whole = all(cell["known"] for cell in three)
    told = whole and not any({"variety", "weight"} & set(cell["missing"]) for cell in three)
    return [
        (bool(old), "It is at least six months old." if old else "It must be six months old."),
        (ear, "It has a left-ear mark." if ear else "It has no left-ear mark."),
        (whole, "Three generations are known." if whole else "Three generations are not all known."),
        (told, "Each of them has variety and weight." if told else "Variety or weight of an ancestor is missing."),
    ]


def changes_since(printed, now):
    """Sentences on what the registry says otherwise today than the paper does; empty when nothing changed."""
    found = []
    before = {cell["path"]: cell for cell in printed["cells"]} | {"": printed["animal"] | {"known": True}}
    after = {cell["path"]: cell for cell in now["cells"]} | {"": now["animal"] | {"known": True}}
    for path, old in before.items():
        new = after[path]
        who = f"The {long_role(path)}" if path else "The animal itself"
        if old["known"] != new["known"]:
            found.append(f"{who} is {'known now' if new['known'] else 'no longer recorded'}.")
        elif any(old[part] != new[part] for part in ("mark", "name", "facts")):
            found.append(f"{who}: printed “{_said(old)}”, today “{_said(new)}”.")
    return found


def _said(cell):
    return listed([", ".join(filter(None, (cell["mark"], cell["name"], *cell["facts"])))])
