"""The animals of lines, found by walking through the pedigree of the whole registry, a generation at a step.

The rule is that of herds/models/line.py, whose query goes from animal to animal: quick for a line of hundreds, slow for
one that holds most of a large club. The tests hold the two side by side.
"""

import numpy as np

from clubsite.columns import columns_of
from herds.models import Line, LineAnimal, LinePart, LineRule

PEDIGREE = "SELECT id, sire_id AS sire, dam_id AS dam FROM herds_animal"
THROUGH = {LineRule.BUCKS: ("sire",), LineRule.DOES: ("dam",)}  # other rules go through both parents


def line_animals(keys):
    """(lines, animals), int64 (m,): the animals of the lines with these keys. Three queries."""
    lines = Line.objects.filter(pk__in=keys).values_list("pk", "rule", "foundation")
    named = LineAnimal.objects.filter(line__in=keys).values_list("line", "part", "animal")
    pedigree = columns_of(PEDIGREE, [], id="int8", sire="int8", dam="int8")
    order = np.argsort(pedigree["id"], kind="stable")  # quick where the keys nearly ascend
    ids = pedigree["id"][order]
    parents = {role: rows_of(ids, pedigree[role][order]) for role in ("sire", "dam")}
    said = {(key, part): np.zeros(len(ids), bool) for key, _, _ in lines for part in LinePart.values}
    for key, part, animal in named:
        said[key, part][rows_of(ids, [animal])] = True
    found = [(np.empty(0, np.int64),) * 2]
    for key, rule, foundation in lines:
        mine = said[key, LinePart.ADDED]
        if foundation is not None:
            passes_on = said[key, LinePart.PASSES_ON] if rule == LineRule.CHOSEN else np.ones(len(ids), bool)
            through = [parents[role] for role in THROUGH.get(rule, ("sire", "dam"))]
            left_out = said[key, LinePart.LEFT_OUT]
            mine = mine | walked(*rows_of(ids, [foundation]), parents.values(), through, passes_on, left_out)
        found.append((np.full(np.count_nonzero(mine), key), ids[mine]))
    return tuple(np.concatenate(each) for each in zip(*found, strict=True))


def walked(foundation, parents, through, passes_on, left_out):
    """bool (n,): which animals descend from row `foundation`, and itself.

    parents : the rows of the sires (n,) and of the dams (n,), -1 for none; the foundation passes the line on as either.
    through : those of the parents by whom it goes on from there, where passes_on, bool (n,), allows. left_out : (n,).
    """
    members = np.zeros(len(left_out) + 1, bool)  # the last is for -1 and stays false
    members[foundation] = True
    passing, ways = members.copy(), parents
    while passing.any():
        young = np.any([passing[way] for way in ways], axis=0) & ~left_out & ~members[:-1]
        members[:-1] |= young
        passing[:-1] = young & passes_on
        ways = through
    return members[:-1]


def rows_of(ids, keys):
    """Rows of `keys` in `ids`, ascending; -1 for one that is not there."""
    keys = np.asarray(keys, np.int64)
    place = np.searchsorted(ids[:-1], keys)
    return np.where(ids[place] == keys, place, -1) if len(ids) else np.full(len(keys), -1)
