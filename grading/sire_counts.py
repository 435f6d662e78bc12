"""A sire's progeny counted by dams, herds and graders, as far as their looks may be seen one by one."""

import numpy as np

from grading.level_words import grader_names
from herds.models import Animal, Herd
from herds.words import count_words

MOST = 40


def counted(rows, member):
    """[(heading, [(word, address or '', animals, looks)], others)] of LookRows. Three queries.

    Graders are named to officers and to themselves; the others count as one line, with how many they are.
    """
    dams = Animal.objects.only("pk", "mark_text", "name").in_bulk(_known(rows.dam))
    herds = Herd.objects.only("pk", "name", "slug").in_bulk(_known(rows.herd))
    names = grader_names(member, set(_known(rows.observer)))
    hidden = set(_known(rows.observer)) - set(names)
    observer = np.where(np.isin(rows.observer, list(hidden)), -1, rows.observer)
    unnamed = count_words(len(hidden), "other grader") if names else count_words(len(hidden), "grader")
    return [
        ("dam", "Dams", _lines(rows, rows.dam, dams, "dam not known")),
        ("herd", "Herds", _lines(rows, rows.herd, herds, "no herd of the club")),
        ("grader", "Graders", _lines(rows, observer, names, unnamed)),
    ]


def _known(keys):
    return [key for key in np.unique(keys).tolist() if key >= 0]


def _lines(rows, keys, things, unknown):
    """(word, address, animals, looks) for each key, most animals first."""
    found = []
    for key in np.unique(keys).tolist():
        chosen = keys == key
        thing = things.get(key)
        address = thing.get_absolute_url() if hasattr(thing, "get_absolute_url") else ""
        word = str(thing) if thing is not None else unknown
        found.append((word, address, len(np.unique(rows.animal[chosen])), int(chosen.sum())))
    found.sort(key=lambda line: (-line[2], -line[3], line[0]))
    rest = found[MOST:]
    if rest:
        found[MOST:] = [
            (f"{len(rest)} more", "", sum(line[2] for line in rest), sum(line[3] for line in rest)),
        ]
    return found
