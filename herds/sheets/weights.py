"""Weights in cells: the unit is the cell's own, the header's, or the one answer for the sheet; never guessed."""

import re

from herds.units import NotAWeight, grams_from_lb_oz, parse_weight

from .cells import is_unknown, text

KG, GRAMS, POUNDS, POUNDS_OUNCES = "kg", "g", "lb", "lb_oz"
UNITS = {
    KG: "kilograms: 4.17",
    GRAMS: "grams: 4170",
    POUNDS: "pounds with decimals: 9.5 is nine pounds and a half",
    POUNDS_OUNCES: "pounds and ounces: 9.3 is 9 lb 3 oz",
}
LEAST, MOST = 10, 15_000
BARE = re.compile(r"(\d+)(?:([.,])(\d+))?")


class NoUnit(Exception):
    """The cell is a number without a unit, and the sheet does not tell which is meant."""


def read_grams(cell, unit=""):
    """Whole grams of a cell, None for an empty one. Raises NotAWeight with a sentence, or NoUnit."""
    if is_unknown(cell):
        return None
    said = text(cell)
    grams = _bare(said, unit) if BARE.fullmatch(said) else parse_weight(_tidy(said), "kg")
    if not LEAST <= grams <= MOST:
        raise NotAWeight(f"“{said}” is {grams / 1000:.10g} kg, which no rabbit weighs. Check the number and the unit.")
    return grams


def needs_unit(cell, unit):
    """True when only an answer can tell what the number in this cell means."""
    try:
        read_grams(cell, unit)
    except NoUnit:
        return True
    except NotAWeight:
        return False
    return False


def _bare(said, unit):
    whole, point, part = BARE.fullmatch(said).groups()
    if unit == GRAMS or (not unit and not point and int(whole) >= 300):
        return (
            int(whole + part) if point and len(part) == 3 and int(whole) < 16 else round(float(said.replace(",", ".")))
        )
    if not unit:
        raise NoUnit
    if unit == POUNDS_OUNCES:
        if point and len(part) <= 2 and int(part) >= 16:
            raise NotAWeight(f"“{said}” would be {whole} lb {int(part)} oz, but a pound has 16 ounces. Check the cell.")
        return grams_from_lb_oz(int(whole), int(part or 0))
    return parse_weight(f"{said} {unit}" if unit != KG or int(whole) < 100 else f"{said} g", "kg")


def _tidy(said):
    """Leave out what stands in brackets, and write the signs for pounds and ounces in letters."""
    said = re.sub(r"\([^)]*\)", "", said)
    said = re.sub(r"(\d)\s*['’]\s*(\d+(?:[.,]\d+)?)\s*[\"”]?$", r"\1 lb \2 oz", said.strip())
    return said.replace("½", ".5").replace("¼", ".25").replace("¾", ".75")
