"""What one page of the editor changes: reads it out of a draft, puts it back, and tells it in words.

Parts are 'profile', 'points' and 'months' (only the numbers of all rows), 'positions.CODE', 'age_classes.CODE',
'weight_bands', 'traits.CODE' and 'findings'. What is not there yet, or no longer, is None.
"""

from django.core.exceptions import ValidationError

from . import words, writing
from .documents import section_of

OF_A_POSITION = ("points", "floor")


def part_of(profile, name):
    """The content of a part as it is saved now."""
    section, _, code = name.partition(".")
    if section == "points":
        return {row["code"]: _numbers(row) for row in _flat(section_of(profile, "positions"))}
    if section == "months":
        return {row["code"]: row["months"] for row in section_of(profile, "age_classes")}
    if section == "positions":
        return position_in(section_of(profile, "positions"), code)
    if section == "age_classes":
        row = _find(section_of(profile, "age_classes"), code)
        return row and {key: value for key, value in row.items() if key != "months"}
    return section_of(profile, name)


def put_part(profile, name, content):
    """Write a part into a draft that is locked. ValidationError for what does not fit the rest."""
    section, _, code = name.partition(".")
    if section == "points":
        positions = section_of(profile, "positions")
        for row in _flat(positions):
            row.pop("floor", None)
            row |= content[row["code"]]
        writing.write_positions(profile, positions)
    elif section == "months":
        classes = section_of(profile, "age_classes")
        rows = [row | {"months": content[row["code"]]} for row in classes]
        writing.write_age_classes(profile, rows)
    elif section == "positions":
        writing.write_positions(profile, with_position(section_of(profile, "positions"), code, content))
    elif section == "age_classes":
        writing.write_age_classes(profile, with_class(section_of(profile, "age_classes"), code, content))
    elif section == "weight_bands":
        writing.write_weight_bands(profile, content)
    else:
        writing.write_findings(profile, content)


def _numbers(row):
    return {key: row[key] for key in OF_A_POSITION if key in row}


def _flat(positions):
    return [row for whole in positions for row in (whole, *whole.get("parts", []))]


def _find(rows, code):
    return next((row for row in rows if row["code"] == code), None)


def position_in(positions, code):
    """The position of that code without its parts, and 'part_of' with the code of its whole."""
    for whole in positions:
        for row in (whole, *whole.get("parts", [])):
            if row["code"] == code:
                inside = {} if row is whole else {"part_of": whole["code"]}
                return {key: value for key, value in row.items() if key != "parts"} | inside
    return None


def with_position(positions, code, content):
    """The list with one position changed, moved, added or (content None) taken out."""
    old = _find(_flat(positions), code)
    parts = (old or {}).get("parts", [])
    inside = content and content.get("part_of")
    if parts and (content is None or inside):
        raise ValidationError(f"{old['name']} has parts. Take its parts out first.")
    row = None if content is None else {key: value for key, value in content.items() if key != "part_of"}
    if row and parts:
        row["parts"] = parts
    where = _find(positions, inside) if inside else None
    if inside and where is None:
        raise ValidationError({"part_of": "This position is no longer there. Choose another."})
    kept = []
    for whole in positions:
        if whole["code"] == code:
            if row and not inside:
                kept.append(row)
            continue
        stays = [row if each["code"] == code and inside == whole["code"] else each
                 for each in whole.get("parts", []) if each["code"] != code or inside == whole["code"]]  # fmt: skip
        if row and inside == whole["code"] and row not in stays:
            stays.append(row)
        whole = {key: value for key, value in whole.items() if key != "parts"}
        kept.append(whole | ({"parts": stays} if stays else {}))
    if row and not inside and row not in kept:
        kept.append(row)
    return kept


def with_class(classes, code, content):
    """The list with one age class changed, added or (content None) taken out."""
    old = _find(classes, code)
    rest = [row for row in classes if row["code"] != code]
    if content is None:
        return rest
    return [*rest, content | ({"months": old["months"]} if old else {})]


def told_part(profile, name, content, names, unit):
    """A part in words, as `words.told` tells whole editions: {key: Item}."""
    section, _, code = name.partition(".")
    if content is None:
        return {}
    if section == "profile":
        return words.about(content)
    if section == "points":
        called = {row["code"]: row["name"] for row in _flat(section_of(profile, "positions"))}
        return {key: words.Item(called.get(key, key), words.numbers(row)) for key, row in content.items()}
    if section == "months":
        called = {row["code"]: row["name"] for row in section_of(profile, "age_classes")}
        return {key: words.Item(called.get(key, key), {"Age": words.months_words(m)}) for key, m in content.items()}
    if section == "positions":
        return words.positions([content], names)
    if section == "age_classes":
        return words.age_classes([content], unit)
    if section == "weight_bands":
        return words.weight_bands(content, section_of(profile, "age_classes"), unit)
    if section == "traits":
        return words.traits({code: content}, names)
    return words.findings(content, names)
