"""Reads an edition's file that somebody sent: problems are named by line or key, and nothing is written here."""

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.text import slugify

from .shapes import (
    Problems,
    check_age_classes,
    check_findings,
    check_new_findings,
    check_new_traits,
    check_positions,
    check_profile,
    check_traits,
    check_weight_bands,
    text_of,
)

MOST_BYTES = 256 * 1024
LONGEST_LINE = 20_000
NAMES = {
    "breed", "profile", "positions", "age_classes", "weight_bands", "traits", "findings", "new_traits", "new_findings",
}  # fmt: skip


class NotAnEdition(ValueError):
    """The file cannot be read at all; the message is a sentence for the person who sent it."""


@dataclass
class Reading:
    """What a file holds, in the layout of `documents`, and the problems that keep it from being made."""

    document: dict
    problems: list = field(default_factory=list)


def text_of_file(data, size):
    """The text of a file of that many bytes, of which at most MOST_BYTES need be given; else NotAnEdition."""
    if size > MOST_BYTES:
        most = f"{MOST_BYTES // 1024} kB at most. Choose another."
        raise NotAnEdition(f"This file has {size / 1024:,.0f} kB; an edition has {most}")
    if not data.strip():
        raise NotAnEdition("This file is empty. Choose a file that was saved from an edition's page.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise NotAnEdition(
            f"Line {line} holds a letter that is not written in UTF-8. Open the file in an editor and save it as UTF-8."
        ) from error


def read_edition(text, *, traits, kinds):
    """The Reading of a file's text. `traits` and `kinds` are the registry's rows by code. NotAnEdition for no TOML."""
    given = _parsed(text)
    problems = Problems()
    for name in sorted(set(given) - NAMES):
        problems.say(name, "An edition's file has no such part.")
    new_traits = check_new_traits(given.get("new_traits", {}), traits, problems)
    new_kinds = check_new_findings(given.get("new_findings", {}), kinds, problems)
    known = {"behind": {*traits, *new_traits}, "faults": {*kinds, *new_kinds}}
    document = {
        "breed": _breed(given.get("breed"), problems),
        "profile": check_profile(given.get("profile"), problems),
        "positions": check_positions(given.get("positions", []), known, problems),
        "age_classes": check_age_classes(given.get("age_classes", []), problems),
    }
    codes = [row["code"] for row in document["age_classes"]]
    document["weight_bands"] = check_weight_bands(given.get("weight_bands", []), codes, problems)
    document["traits"] = check_traits(given.get("traits", {}), traits, new_traits, problems)
    document["findings"] = check_findings(given.get("findings", {}), {*kinds, *new_kinds}, problems)
    document |= {"new_traits": new_traits} if new_traits else {}
    document |= {"new_findings": new_kinds} if new_kinds else {}
    return Reading(document, problems.sentences)


def _parsed(text):
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_LINE:
            raise NotAnEdition(f"Line {number} is longer than any line of an edition. Choose another file.")
    try:
        return tomllib.loads(text.replace("\r\n", "\n"), parse_float=Decimal)
    except RecursionError as error:
        raise NotAnEdition("This file nests lists in lists without end. Choose another file.") from error
    except ValueError as error:  # also a number of thousands of digits
        raise NotAnEdition(f"This file cannot be read as TOML: {error}.") from error


def _breed(given, problems):
    if not isinstance(given, dict):
        problems.say("breed", "The file does not name the breed: it needs [breed] with a name.")
        return {"name": "", "slug": ""}
    name = text_of(given, "name", "breed", problems, longest=80)
    slug = text_of(given, "slug", "breed", problems, longest=80, needed=False) or slugify(name)
    if name and slug != slugify(slug):
        problems.say("breed.slug", "A slug has small letters, digits and hyphens only.")
    for extra in sorted(set(given) - {"name", "slug"}):
        problems.say(f"breed.{extra}", "A breed has a name and a slug only.")
    return {"name": name, "slug": slug}
