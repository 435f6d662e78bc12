"""The cells of a pedigree as it is drawn: who stands where, who stands in several places, and what is not known."""

import string
from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from herds.models import Animal
from herds.words import count_words, listed
from pedigrees import kinship
from pedigrees.actions.inbreeding import refresh_soon
from pedigrees.certificate import long_role
from pedigrees.load import Pedigree, ancestors_of, by_name
from pedigrees.places import cell_parts

FEWEST, MOST = 3, 6
LONGEST_LIST = 20  # of common ancestors beyond those drawn
GENERATION_WORDS = (
    "parents",
    "grandparents",
    "great-grandparents",
    "in the 4th generation",
    "in the 5th",
    "in the 6th",
)


@dataclass
class Common:
    """An ancestor that stands in several cells, or adds to the animal's inbreeding from beyond those drawn.

    `share` is its part of the animal's inbreeding; 0 when it is there only through other common ancestors.
    """

    animal: Animal
    letter: str = ""
    on_sires_side: int = 0
    on_dams_side: int = 0
    contribution: float = 0.0
    share: float = 0.0

    @property
    def times(self):
        return self.on_sires_side + self.on_dams_side

    @property
    def where(self):
        """'appears 3 times, both sides'."""
        if not self.times:
            return "stands farther back than drawn here"
        side = "both sides" if self.on_sires_side and self.on_dams_side else ""
        side = side or ("sire's side" if self.on_sires_side else "dam's side")
        return f"appears {count_words(self.times, 'time')}, {side}"


@dataclass
class Cell:
    """One place of the pedigree; `path` leads to it, '' for the animal itself, 'SD' for its sire's dam."""

    path: str
    animal: Animal | None = None
    inbreeding: float | None = None
    computing: bool = False
    both_parents_known: bool = False
    common: Common | None = None
    parts: list = field(default_factory=list)
    parents: list = field(default_factory=list)

    @property
    def role(self):
        return "sire" if self.path[-1:] == "S" else "dam"

    @property
    def place(self):
        """'dam of the sire'."""
        return long_role(self.path)

    @property
    def generation(self):
        return len(self.path)


@dataclass
class Tree:
    """A pedigree ready to be drawn. `known` has (words, known, of) for each generation; `missing` sentences.

    `completeness` is 0 to 1 over the generations drawn; `depth` counts equivalent complete generations, all known ones.
    `others` counts the common ancestors left out of `commons`, and `others_share` is what they add together.
    """

    root: Cell
    generations: int
    commons: list
    known: list
    missing: list
    completeness: float
    depth: float
    others: int = 0
    others_share: float = 0.0

    @property
    def sharing(self):
        return [each for each in self.commons if each.contribution]

    @property
    def only_repeated(self):
        return [each for each in self.commons if not each.contribution]


def tree_of(animal, generations, member) -> Tree:
    """The pedigree of an animal as one member may see it, in three queries and those of the registered parts."""
    pedigree = _current(ancestors_of(animal.pk))
    row = int(pedigree.rows_of([animal.pk])[0])
    places = _places(pedigree, row, generations)
    through = _turning_points(pedigree, row)
    shown, rest = _told_one_by_one(through, set(places.values()))
    rows = set(places.values()) | set(shown)
    animals = Animal.objects.select_related("bred_in").in_bulk([int(pedigree.ids[each]) for each in rows])
    commons = _commons(pedigree, places, shown, animals, sum(through.values()))
    drawn = {int(pedigree.ids[each]) for each in places.values()}
    parts = cell_parts(member, drawn)
    root = _cell("", places, pedigree, animals, commons, parts, generations)
    with by_name(pedigree):
        completeness = kinship.completeness(pedigree.sire, pedigree.dam, generations)[row]
        depth = kinship.equivalent_generations(pedigree.sire, pedigree.dam)[row]
    total = sum(through.values())
    return Tree(
        root=root,
        generations=generations,
        commons=sorted(commons.values(), key=lambda each: (-each.contribution, each.letter or "~", each.animal.pk)),
        known=_known(places, generations),
        missing=_missing(places, animals, pedigree, generations),
        completeness=float(completeness),
        depth=float(depth),
        others=rest[0],
        others_share=rest[1] / total if total else 0.0,
    )


def small_tree_of(animal, generations=3) -> Cell:
    """Only the cells, without looks and common ancestors, for a part of another page. Two queries."""
    pedigree = _current(ancestors_of(animal.pk, generations))
    with by_name(pedigree):
        kinship.ancestry_order(pedigree.sire, pedigree.dam)  # refuses loops
    places = _places(pedigree, int(pedigree.rows_of([animal.pk])[0]), generations)
    animals = Animal.objects.in_bulk([int(pedigree.ids[row]) for row in set(places.values())])
    repeated = _commons(pedigree, places, {}, animals, 0)
    return _cell("", places, pedigree, animals, repeated, defaultdict(list), generations)


def _current(pedigree):
    """The same pedigree; a page that meets figures that are due sees to it that a job works them out."""
    if np.isnan(pedigree.f).any():
        refresh_soon()
    return pedigree


def _places(pedigree: Pedigree, row, generations):
    """{path: row} of the known ancestors, generation by generation, the sire's side first."""
    found, level = {"": row}, [""]
    for _ in range(generations):
        fresh = []
        for path in level:
            for side, parents in (("S", pedigree.sire), ("D", pedigree.dam)):
                if (parent := int(parents[found[path]])) >= 0:
                    found[path + side] = parent
                    fresh.append(path + side)
        level = fresh
    return found


def _turning_points(pedigree, row):
    """{row: contribution} of the common ancestors of sire and dam; empty while a parent is not known."""
    sire, dam = int(pedigree.sire[row]), int(pedigree.dam[row])
    if sire < 0 or dam < 0:
        return {}
    with by_name(pedigree):
        found = kinship.common_ancestors(pedigree.sire, pedigree.dam, sire, dam, inbreeding=pedigree.inbreeding())
    return dict(zip(found.rows.tolist(), found.contribution.tolist(), strict=True))


def _told_one_by_one(through, drawn):
    """The common ancestors that are drawn or add most, and (how many, what) the others add together."""
    most = set(sorted(through, key=through.get, reverse=True)[:LONGEST_LIST])
    shown = {row: part for row, part in through.items() if row in drawn or row in most}
    return shown, (len(through) - len(shown), sum(through.values()) - sum(shown.values()))


def _commons(pedigree, places, through, animals, total):
    """{row: Common} of all that stand in two cells or more, or add to the inbreeding; letters go to those drawn."""
    sides = defaultdict(lambda: [0, 0])
    for path, row in places.items():
        if path:
            sides[row]["SD".index(path[0])] += 1
    found = {}
    repeated = [row for row, (one, other) in sides.items() if one + other > 1]
    for row in [*repeated, *(row for row in through if row not in repeated)]:
        one, other = sides.get(row, (0, 0))
        contribution = through.get(row, 0.0)
        share = contribution / total if total else 0.0
        found[row] = Common(animals[int(pedigree.ids[row])], "", one, other, contribution, share)
    lettered = sorted(
        (row for row in found if found[row].times > 1 or (found[row].times and found[row].contribution)),
        key=lambda row: (-found[row].contribution, list(places.values()).index(row)),
    )
    for number, row in enumerate(lettered):
        found[row].letter = letters(number)
    return found


def letters(number):
    """A, B, ... Z, AA, AB, ...: the letter of the n-th common ancestor, from 0."""
    word = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        word = string.ascii_uppercase[rest] + word
    return word


def _cell(path, places, pedigree, animals, commons, parts, generations):
    cell = Cell(path)
    row = places.get(path)
    if row is None:
        return cell
    cell.animal = animals[int(pedigree.ids[row])]
    cell.both_parents_known = bool(cell.animal.sire_id and cell.animal.dam_id)
    cell.computing = bool(np.isnan(pedigree.f[row]))
    cell.inbreeding = None if cell.computing or not cell.both_parents_known else float(pedigree.f[row])
    cell.common = commons.get(row) if path else None
    cell.common = cell.common if cell.common and cell.common.letter else None
    cell.parts = parts[cell.animal.pk]
    if len(path) < generations:
        cell.parents = [
            _cell(path + side, places, pedigree, animals, commons, parts, generations) for side in "SD"
        ]  # fmt: skip
    return cell


def _known(places, generations):
    counts = [sum(len(path) == n for path in places) for n in range(1, generations + 1)]
    return [(GENERATION_WORDS[n], count, 2 ** (n + 1)) for n, count in enumerate(counts)]


def _missing(places, animals, pedigree, generations):
    """'The dam of Slate is not known.' for each gap at the edge of what is known, nearest first."""
    gaps: dict = {}
    for path, row in places.items():
        if len(path) == generations:
            continue
        lacks = [word for side, word in (("S", "sire"), ("D", "dam")) if path + side not in places]
        if lacks:
            gaps.setdefault(row, (len(path), lacks))
    found = sorted(gaps.items(), key=lambda item: item[1][0])
    sentences = []
    for row, (_, lacks) in found:
        are = "are" if len(lacks) > 1 else "is"
        sentences.append(f"{listed(lacks).capitalize()} of {animals[int(pedigree.ids[row])]} {are} not known.")
    return sentences
