"""Places in the cells of a pedigree that apps above this one fill, such as an animal's look; this app knows none."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class CellPart:
    """A part of every cell of a pedigree.

    `values(member, keys)` gives {animal key: the template's values}, in a fixed number of queries however many animals
    there are; an animal of which the member may see nothing, or of which there is nothing, is left out.
    `template` draws it (a short line, made of phrasing elements); `text(values)` says the same in plain words.
    """

    name: str
    order: int
    template: str
    values: Callable[[Any, list], dict]
    text: Callable[[Any], str]


PARTS: dict[str, CellPart] = {}


def register(part):
    """Add a part; the same name replaces, so that a reload adds nothing twice."""
    PARTS[part.name] = part


def cell_parts(member, keys):
    """{animal key: [(part, values), ...]} in order, for as much as the member may see."""
    found: dict = {key: [] for key in keys}
    for part in sorted(PARTS.values(), key=lambda each: each.order):
        for key, values in part.values(member, list(keys)).items():
            found[key].append((part, values))
    return found
