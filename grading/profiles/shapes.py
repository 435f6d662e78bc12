"""What each part of an edition's file may hold. Every check takes whatever was found there and says what is wrong."""

import re
from datetime import date, datetime
from decimal import Decimal

from .documents import plain
from .writing import WHICH, weights_in_grams

MOST_PROBLEMS = 40
MOST_ROWS = 200
CODE = re.compile(r"[a-zA-Z0-9_-]{1,40}\Z")
CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")
SITES = ("shoulder", "loin", "rump")
EFFECTS = ("note", "fault", "disqualifies")
HALF = 0.5
SEXES = ("both", "buck", "doe")
HEAVIEST_GRAMS = 30_000
MOST_MONTHS = 240


class Problems:
    """Sentences, each with the key it is about; beyond MOST_PROBLEMS they are only counted."""

    def __init__(self):
        self.sentences, self.unsaid = [], 0

    def say(self, where, sentence):
        if len(self.sentences) < MOST_PROBLEMS:
            self.sentences.append(f"{shortened(where)}: {sentence}")
        else:
            self.unsaid += 1


def shortened(text, longest=80):
    """Text from a stranger's file as it may stand in a sentence."""
    text = CONTROL.sub("?", str(text))
    return text if len(text) <= longest else f"{text[:longest]}…"


def text_of(table, name, where, problems, *, longest, needed=True):
    """The text under a name; '' when it is missing or wrong."""
    given = table.get(name, "")
    at = f"{where}.{name}"
    if not isinstance(given, str):
        problems.say(at, "Text is wanted here, in quotation marks.")
    elif needed and not given.strip():
        problems.say(at, "This must be given.")
    elif len(given) > longest:
        problems.say(at, f"This has {len(given)} letters; {longest} are the most.")
    elif CONTROL.search(given):
        problems.say(at, "This holds a letter that cannot be shown. Write it anew.")
    else:
        return given
    return ""


def whole_of(table, name, where, problems, *, low, high, needed=True):
    """The whole number under a name; None when it is missing or wrong."""
    given = table.get(name)
    if given is None and not needed:
        return None
    if isinstance(given, int) and not isinstance(given, bool) and low <= given <= high:
        return given
    problems.say(f"{where}.{name}", f"A whole number from {low} to {high:,} is wanted here.")
    return None


def points_of(table, name, where, problems, *, needed=True):
    """Points with one decimal at most; None when missing or wrong."""
    given = table.get(name)
    if given is None and not needed:
        return None
    if isinstance(given, (int, Decimal, float)) and not isinstance(given, bool):
        number = Decimal(str(given)) if not isinstance(given, int) or abs(given) < 10**6 else None
        if number is not None and number.is_finite() and 0 <= number < 1000 and number * 10 == int(number * 10):
            return plain(number)
    problems.say(f"{where}.{name}", "Points are a number from 0 to 999, with one decimal at most.")
    return None


def flag_of(table, name, where, problems, *, default):
    given = table.get(name, default)
    if isinstance(given, bool):
        return given
    problems.say(f"{where}.{name}", "Write true or false.")
    return default


def day_of(table, name, where, problems, *, needed=True):
    """The day under a name; None when it is missing or wrong."""
    given = table.get(name)
    if given is None and not needed:
        return None
    if isinstance(given, date) and not isinstance(given, datetime):
        return given
    problems.say(f"{where}.{name}", "A day is wanted here, such as 2027-01-01 without quotation marks.")
    return None


def code_of(table, where, problems):
    given = table.get("code")
    if isinstance(given, str) and CODE.match(given):
        return given
    problems.say(f"{where}.code", "A code has up to 40 letters, digits, hyphens and underscores.")
    return ""


def table_of(given, where, problems, names):
    """The table itself, unknown names told; an empty one for anything else."""
    if not isinstance(given, dict):
        problems.say(where, "A table with names and values is wanted here.")
        return {}
    for name in given:
        if name not in names:
            problems.say(f"{where}.{shortened(name)}", f"Unknown here. Known are {', '.join(names)}.")
    return given


def rows_of(given, where, problems):
    """A list of tables, cut where no edition has so many."""
    if not isinstance(given, list):
        problems.say(where, f"A list is wanted here: write [[{where}]] above each.")
        return []
    if len(given) > MOST_ROWS:
        problems.say(where, f"There are {len(given):,} of them; {MOST_ROWS} are the most.")
    return given[:MOST_ROWS]


def codes_of(given, where, problems):
    """(code, table) pairs of a table of tables, wrong codes told."""
    if not isinstance(given, dict):
        problems.say(where, f"Tables are wanted here: write [{where}.code] above each.")
        return
    if len(given) > MOST_ROWS:
        problems.say(where, f"There are {len(given):,} of them; {MOST_ROWS} are the most.")
    for code, table in list(given.items())[:MOST_ROWS]:
        if CODE.match(code):
            yield code, table
        else:
            problems.say(f"{where}.{shortened(code)}", "A code has up to 40 letters, digits, hyphens and underscores.")


def check_profile(given, problems):
    """The head of the edition."""
    names = (
        "name", "association", "edition", "source", "official", "points_total", "in_force_from", "in_force_until",
    )  # fmt: skip
    table = table_of({} if given is None else given, "profile", problems, names)
    start = day_of(table, "in_force_from", "profile", problems)
    end = day_of(table, "in_force_until", "profile", problems, needed=False)
    if start and end and end < start:
        problems.say("profile.in_force_until", "An edition cannot end before it begins.")
    found = {
        "name": text_of(table, "name", "profile", problems, longest=120),
        "association": text_of(table, "association", "profile", problems, longest=80),
        "edition": text_of(table, "edition", "profile", problems, longest=40),
        "source": text_of(table, "source", "profile", problems, longest=200, needed=False),
        "official": flag_of(table, "official", "profile", problems, default=False),
        "points_total": whole_of(
            {"points_total": 100} | table, "points_total", "profile", problems, low=1, high=10_000
        ),
        "in_force_from": start,
    }
    return found | ({"in_force_until": end} if end else {})


def check_positions(given, known, problems):
    """Positions, one level of parts inside them. `known` are the codes that may stand behind one."""
    seen, found = set(), []
    for number, table in enumerate(rows_of(given, "positions", problems), start=1):
        where = f"positions {number}"
        names = ("code", "name", "points", "floor", "step", "by_weight", "behind", "faults", "parts")
        table = table_of(table, where, problems, names)
        whole = _position(table, where, problems, seen, known)
        parts = []
        for n, part in enumerate(rows_of(table.get("parts", []), f"{where}.parts", problems), start=1):
            at = f"{where}, part {n}"
            parts.append(_position(table_of(part, at, problems, names[:-1]), at, problems, seen, known))
        found.append(whole | ({"parts": parts} if parts else {}))
    if sum(row.get("by_weight", False) for whole in found for row in (whole, *whole.get("parts", []))) > 1:
        problems.say("positions", "Only one position of a schedule takes its points from the weight table.")
    return found


def _position(table, where, problems, seen, known):
    code = code_of(table, where, problems)
    if code and code in seen:
        problems.say(where, f"The code {code} stands there twice.")
    seen.add(code)
    points = points_of(table, "points", where, problems)
    floor = points_of(table, "floor", where, problems, needed=False)
    step = points_of(table, "step", where, problems, needed=False) or 1
    if points == 0:
        problems.say(f"{where}.points", "A position is worth more than 0 points.")
    if points is not None and floor is not None and floor > points:
        problems.say(f"{where}.floor", "The floor of a position cannot be more than its points.")
    if step not in (1, HALF):
        problems.say(f"{where}.step", "Points are given in whole points, 1, or in half points, 0.5.")
    elif points is not None and points % step:
        problems.say(f"{where}.points", "A position's points must be reachable in its own steps.")
    row = {"code": code, "name": text_of(table, "name", where, problems, longest=80), "points": points}
    row |= {} if floor is None else {"floor": floor}
    row |= {} if step == 1 else {"step": step}
    row |= {"by_weight": True} if flag_of(table, "by_weight", where, problems, default=False) else {}
    for name, codes in known.items():
        if name in table and (listed := codes_listed(table[name], codes, f"{where}.{name}", problems)):
            row[name] = listed
    return row


def codes_listed(given, known, where, problems):
    """The codes of a list, sorted, each once; all of them known."""
    if isinstance(given, list) and len(given) <= MOST_ROWS and all(isinstance(each, str) for each in given):
        if unknown := [each for each in given if each not in known]:
            problems.say(where, f"The registry does not know {shortened(', '.join(unknown))}.")
        return sorted({each for each in given if each in known})
    problems.say(where, 'A list of codes is wanted here, such as ["undercolor"].')
    return []


def check_age_classes(given, problems):
    """Age classes by whole months, youngest first, with weights in pounds or grams."""
    seen, found = set(), []
    for number, table in enumerate(rows_of(given, "age_classes", problems), start=1):
        where = f"age_classes {number}"
        table = table_of(table, where, problems, ("code", "name", "months", "weights_lb", "weights_g"))
        code = code_of(table, where, problems)
        if len(code) > 20:
            problems.say(f"{where}.code", "The code of an age class has up to 20 letters.")
        if code and code in seen:
            problems.say(where, f"The code {code} stands there twice.")
        seen.add(code)
        row = {"code": code, "name": text_of(table, "name", where, problems, longest=40)}
        row["months"] = _months(table.get("months"), where, problems)
        if weights := _weights(table, where, problems):
            row["weights_g"] = weights
        found.append(row)
    return sorted(found, key=lambda each: each["months"][0])


def _months(given, where, problems):
    good = isinstance(given, list) and len(given) in (1, 2) and all(type(each) is int for each in given)
    if good and 0 <= given[0] <= MOST_MONTHS and (len(given) == 1 or given[0] < given[1] <= MOST_MONTHS):
        return given
    problems.say(
        f"{where}.months", f"Write [0, 6] for under six months, or [8] for eight and over; {MOST_MONTHS} at most."
    )
    return [0]


def _weights(table, where, problems):
    grams = {}
    for unit in ("weights_lb", "weights_g"):
        given = table_of(table.get(unit, {}), f"{where}.{unit}", problems, SEXES)
        for sex in (sex for sex in SEXES if sex in given):
            at = f"{where}.{unit}.{sex}"
            limits = table_of(given[sex], at, problems, WHICH)
            limits = {
                which: _weight(limits[which], unit, f"{at}.{which}", problems) for which in WHICH if which in limits
            }
            limits = {which: weight for which, weight in limits.items() if weight is not None}
            converted = weights_in_grams({unit: {sex: limits}})[sex]
            if "lowest" in converted and "highest" in converted and converted["lowest"] >= converted["highest"]:
                problems.say(at, "The lowest weight must be under the highest.")
            grams[sex] = converted
    return grams


def check_weight_bands(given, classes, problems):
    """Bands of weight with their points, for one of the age classes and one sex, or for all."""
    found, seen = [], {}
    for number, table in enumerate(rows_of(given, "weight_bands", problems), start=1):
        where = f"weight_bands {number}"
        table = table_of(table, where, problems, ("points", "grams", "age_class", "sex"))
        row = {
            "points": points_of(table, "points", where, problems),
            "grams": _grams(table.get("grams"), where, problems),
        }
        if "age_class" in table and table["age_class"] not in classes:
            problems.say(f"{where}.age_class", "The file has no age class of this code.")
        elif "age_class" in table:
            row["age_class"] = table["age_class"]
        if table.get("sex", "both") not in SEXES:
            problems.say(f"{where}.sex", f"One of these is wanted: {', '.join(SEXES)}.")
        elif table.get("sex", "both") != "both":
            row["sex"] = table["sex"]
        group = seen.setdefault((row.get("age_class"), row.get("sex")), [])
        if any(overlap(row["grams"], other) for other in group):
            problems.say(where, "Two bands of the weight table overlap. Each weight may stand in one band only.")
        group.append(row["grams"])
        found.append(row)
    return found


def overlap(one, other):
    """Whether two bands [lowest, highest] or [lowest], both ends included, share a gram."""
    return one[0] <= (other[1:] or [one[0]])[0] and other[0] <= (one[1:] or [other[0]])[0]


def _grams(given, where, problems):
    good = isinstance(given, list) and len(given) in (1, 2) and all(type(each) is int for each in given)
    if good and 0 <= given[0] <= given[-1] <= HEAVIEST_GRAMS:
        return given
    problems.say(
        f"{where}.grams", "Write [3500, 3699] in whole grams, both ends included, or [5000] for no upper limit."
    )
    return [0, 0]


def _weight(given, unit, where, problems):
    kinds = (int,) if unit == "weights_g" else (int, float, Decimal)
    most = HEAVIEST_GRAMS if unit == "weights_g" else HEAVIEST_GRAMS / 453.59237
    if type(given) in kinds and 0 < given <= most:
        return given
    what = "whole grams" if unit == "weights_g" else "pounds"
    problems.say(where, f"A weight in {what} is wanted here, more than 0 and up to {most:,.0f}.")
    return None


def check_traits(given, traits, new_traits, problems):
    """Traits with goals, leeway and described steps on their scales."""
    scales = {code: (row.scale_low, row.scale_high) for code, row in traits.items()}
    scales |= {code: tuple(row["scale"]) for code, row in new_traits.items()}
    found = {}
    for code, table in codes_of(given, "traits", problems):
        where = f"traits.{code}"
        table = table_of(table, where, problems, ("goal", "senior", "why", "steps"))
        if code not in scales:
            problems.say(where, "The registry has no such trait, and the file does not describe it under new_traits.")
            continue
        row = {}
        for name in ("goal", "senior"):
            if name in table and (steps := _range(table[name], f"{where}.{name}", scales[code], problems)):
                row[name] = steps
        if why := text_of(table, "why", where, problems, longest=300, needed=False):
            row["why"] = why
        row["steps"] = _steps(table.get("steps", {}), where, scales[code], problems)
        found[code] = row
    return found


def _range(given, where, scale, problems):
    low, high = scale
    if _two_whole(given) and low <= given[0] <= given[1] <= high:
        return given
    problems.say(
        where, f"The range must lie on the trait's scale, {low} to {high}, the lower step first, such as [7, 8]."
    )
    return None


def _two_whole(given):
    return isinstance(given, list) and len(given) == 2 and all(type(each) is int for each in given)


def _steps(given, where, scale, problems):
    known = [str(step) for step in range(scale[0], scale[1] + 1)]
    table = table_of(given, f"{where}.steps", problems, known)
    words = {step: text_of(table, step, f"{where}.steps", problems, longest=200) for step in known if step in table}
    return {step: text for step, text in words.items() if text}


def check_findings(given, known, problems):
    """What each finding means."""
    found = {}
    for code, table in codes_of(given, "findings", problems):
        where = f"findings.{code}"
        table = table_of(table, where, problems, ("effect", "why"))
        if code not in known:
            problems.say(
                where, "The registry has no such finding, and the file does not describe it under new_findings."
            )
        if table.get("effect") not in EFFECTS:
            problems.say(f"{where}.effect", f"One of these is wanted: {', '.join(EFFECTS)}.")
        why = text_of(table, "why", where, problems, longest=200, needed=False)
        found[code] = {"effect": table.get("effect")} | ({"why": why} if why else {})
    return found


def check_new_traits(given, traits, problems):
    """The file's own traits; one that the registry has must have the same scale there."""
    names = ("section", "name", "question", "ends", "scale", "two_sided", "sites", "photo")
    found = {}
    for code, table in codes_of(given, "new_traits", problems):
        where = f"new_traits.{code}"
        table = table_of(table, where, problems, names)
        row = {
            "section": whole_of(table, "section", where, problems, low=1, high=5),
            "name": text_of(table, "name", where, problems, longest=60),
            "question": text_of(table, "question", where, problems, longest=160),
            "ends": _two_words(table, where, problems),
            "scale": _scale(table.get("scale", [1, 9]), where, problems),
        }
        row |= {"two_sided": True} if flag_of(table, "two_sided", where, problems, default=False) else {}
        row |= {"sites": sites} if (sites := _words(table.get("sites", []), f"{where}.sites", problems, SITES)) else {}
        row |= {} if flag_of(table, "photo", where, problems, default=True) else {"photo": False}
        there = traits.get(code)
        if there and meaning(row) != (there.scale_low, there.scale_high, there.two_sided, sorted(there.sites)):
            problems.say(where, f"The registry has a trait of this code, {there}, with another scale. Rename this one.")
        found[code] = row
    return found


def meaning(row):
    """What must be the same for two traits to be one."""
    return (*row["scale"], row.get("two_sided", False), sorted(row.get("sites", [])))


def _two_words(table, where, problems):
    ends = table.get("ends")
    if isinstance(ends, list) and len(ends) == 2:
        named = {"low": ends[0], "high": ends[1]}
        return [text_of(named, end, f"{where}.ends", problems, longest=40) for end in named]
    problems.say(f"{where}.ends", 'Write what the lowest and the highest step mean, such as ["thin", "thick"].')
    return ["", ""]


def _scale(given, where, problems):
    if _two_whole(given) and 0 <= given[0] < given[1] <= 10:
        return given
    problems.say(f"{where}.scale", "A scale lies between 0 and 10, the lower step first, such as [1, 9].")
    return [1, 9]


def _words(given, where, problems, known=None):
    """A list of short texts; of the `known` ones, when those are told."""
    if isinstance(given, list) and len(given) <= MOST_ROWS:
        listed = {str(n): each for n, each in enumerate(given, start=1)}
        if known is None:
            return [text_of(listed, n, where, problems, longest=20) for n in listed]
        if all(each in known for each in given if isinstance(each, str)) and all(type(e) is str for e in given):
            return list(dict.fromkeys(given))
    problems.say(
        where, f"A list of these is wanted: {', '.join(known)}." if known else "A list of short texts is wanted."
    )
    return []


def check_new_findings(given, kinds, problems):
    """The file's own findings."""
    found = {}
    for code, table in codes_of(given, "new_findings", problems):
        where = f"new_findings.{code}"
        table = table_of(table, where, problems, ("section", "name", "hint", "places"))
        found[code] = {
            "section": whole_of(table, "section", where, problems, low=1, high=5),
            "name": text_of(table, "name", where, problems, longest=60),
            "hint": text_of(table, "hint", where, problems, longest=200, needed=False),
            "places": _words(table.get("places", []), f"{where}.places", problems),
        }
        if code in kinds and sorted(found[code]["places"]) != sorted(kinds[code].places):
            problems.say(
                where, f"The registry has a finding of this code, {kinds[code]}, at other places. Rename this."
            )
    return found
