"""Weights: grams inside, pounds and ounces or kilograms outside, without drift between them.

The avoirdupois pound is exactly 0.45359237 kg (international yard and pound agreement of 1959); an ounce is its
sixteenth. Every conversion is a fraction until the last rounding: to the whole gram inwards, to the quarter ounce
outwards. A gram is a seventh of a quarter ounce, so the way in and out gives back what was typed.
"""

import re
from fractions import Fraction

from clubsite.members.models.member import WeightUnit

POUND_GRAMS = Fraction(45_359_237, 100_000)
OUNCE_GRAMS = POUND_GRAMS / 16
OUNCES_IN_POUND = 16
SHOWN_OUNCE = Fraction(1, 4)
LONGEST = 40

HOW_TO = {
    WeightUnit.LB_OZ: "Write pounds and ounces, such as 9 lb 3 oz or 9-3.",
    WeightUnit.KG: "Write kilograms or grams, such as 4.17 kg or 4170 g.",
}


class NotAWeight(ValueError):
    """What was typed is no weight; the message is a sentence for the person who typed it."""


def grams_from_lb_oz(pounds, ounces):
    """Whole grams of that many pounds and ounces (int, Decimal or Fraction, both 0 or more)."""
    return _nearest(Fraction(pounds) * POUND_GRAMS + Fraction(ounces) * OUNCE_GRAMS)


def lb_oz_from_grams(grams, step=SHOWN_OUNCE):
    """(pounds, ounces) of a weight in grams; the ounces are a Fraction, a multiple of `step`, under 16."""
    steps = _nearest(Fraction(grams) / OUNCE_GRAMS / step)
    pounds, ounces = divmod(steps * step, OUNCES_IN_POUND)
    return int(pounds), ounces


def grams_from_kg(kilograms):
    """Whole grams of a weight in kilograms (int, Decimal or Fraction)."""
    return _nearest(Fraction(kilograms) * 1000)


def decimal_words(number):
    """A Fraction as the shortest decimal: '3', '3.25', '4.17'. For numbers whose decimals end, as all here do."""
    text = f"{float(number):.3f}"
    return text.rstrip("0").rstrip(".")


def kg_words(grams):
    """'4.17' or '4.175': at least two decimals, and no digit lost."""
    text = f"{grams // 1000}.{grams % 1000:03d}"
    return text[:-1] if text.endswith("0") else text


def weight_words(grams, unit):
    """A weight as a member reads it: '9 lb 3 oz', '6.25 oz', '4.17 kg', '640 g'; '' for none."""
    if grams is None:
        return ""
    if unit == WeightUnit.KG:
        return f"{kg_words(grams)} kg" if grams >= 1000 else f"{grams} g"
    pounds, ounces = lb_oz_from_grams(grams)
    if not pounds:
        return f"{decimal_words(ounces)} oz"
    return f"{pounds} lb {decimal_words(ounces)} oz" if ounces else f"{pounds} lb"


def gain_words(grams_a_day, unit):
    """A gain per day: '+38 g a day', '-0.25 oz a day'; '' for none."""
    if grams_a_day is None:
        return ""
    if unit == WeightUnit.KG:
        return f"{round(grams_a_day):+d} g a day"
    ounces = Fraction(grams_a_day) / OUNCE_GRAMS
    sign = "+" if ounces >= 0 else "-"
    return f"{sign}{float(abs(ounces)):.1f} oz a day"


_NUMBER = r"(\d+(?:[.,]\d+)?)"
_POUNDS = r"(?:lbs?|pounds?|#)"
_OUNCES = r"(?:ozs?|ounces?)"
_LB_OZ = re.compile(rf"^{_NUMBER}\s*(?:{_POUNDS}\.?\s*,?\s*|-|\s|/|:)\s*{_NUMBER}\s*(?:{_OUNCES}\.?)?$")
_LB = re.compile(rf"^{_NUMBER}\s*{_POUNDS}\.?$")
_OZ = re.compile(rf"^{_NUMBER}\s*{_OUNCES}\.?$")
_KG = re.compile(rf"^{_NUMBER}\s*(?:kgs?|kilos?|kilograms?)\.?$")
_G = re.compile(rf"^{_NUMBER}\s*(?:g|grams?|gm)\.?$")
_BARE = re.compile(rf"^{_NUMBER}$")


def parse_weight(text, unit):
    """Whole grams of what a person typed, in whatever unit they named, else in theirs. Raises NotAWeight."""
    typed = " ".join(str(text).replace("\N{MINUS SIGN}", "-").replace("\N{EN DASH}", "-").lower().split())
    if len(typed) > LONGEST:
        raise NotAWeight(f"So long a text is no weight. {HOW_TO[unit]}")
    if not typed:
        raise NotAWeight(f"No weight was given. {HOW_TO[unit]}")
    if typed.startswith("-"):
        raise NotAWeight(f"{text} is below nothing. A weight is more than 0.")
    for pattern, read in _READERS:
        if found := pattern.match(typed):
            return _some(read(*[_fraction(part) for part in found.groups()]), text)
    if found := _BARE.match(typed):
        return _some(_bare(found.group(1), text, unit), text)
    raise NotAWeight(f"“{text}” cannot be read as a weight. {HOW_TO[unit]}")


def _bare(typed, text, unit):
    """A number without a unit: only what can be meant in one way is taken."""
    number = _fraction(typed)
    if unit == WeightUnit.KG:
        whole = number.denominator == 1
        if whole and number >= 100:
            return _nearest(number)
        if number > 30:
            raise NotAWeight(f"{text} kg is too much for the scale. If grams were meant, write {text} g.")
        return grams_from_kg(number)
    if number.denominator != 1:
        whole, part = re.split(r"[.,]", typed)
        raise NotAWeight(f"{text} can be read in two ways. Write {whole}-{part} for pounds and ounces, or {text} lb.")
    return grams_from_lb_oz(number, 0)


def pounds_and_ounces(pounds, ounces):
    """Grams, when the ounces fit beside the pounds; else NotAWeight says what was probably meant."""
    if ounces >= OUNCES_IN_POUND and pounds:
        carried, rest = divmod(ounces, OUNCES_IN_POUND)
        better = f"{decimal_words(pounds + carried)} lb {decimal_words(rest)} oz"
        raise NotAWeight(
            f"A pound has 16 ounces, so {decimal_words(ounces)} oz cannot stand beside pounds. Was {better} meant?"
        )
    if pounds.denominator != 1 and ounces:
        raise NotAWeight("Parts of a pound cannot stand beside ounces. Write whole pounds, or leave the ounces out.")
    return grams_from_lb_oz(pounds, ounces)


_READERS = (
    (_LB_OZ, pounds_and_ounces),
    (_LB, lambda pounds: grams_from_lb_oz(pounds, 0)),
    (_OZ, lambda ounces: grams_from_lb_oz(0, ounces)),
    (_KG, grams_from_kg),
    (_G, lambda grams: _nearest(grams)),
)


def _fraction(typed):
    return Fraction(typed.replace(",", "."))


def _nearest(number):
    """The nearest whole number; halves go up, as on a scale."""
    return int((number + Fraction(1, 2)) // 1)


def _some(grams, text):
    if grams <= 0:
        raise NotAWeight(f"{text} is no weight. A weight is more than 0.")
    return grams
