"""Small pedigrees with names, and random ones, for the tests of relationship."""

import json
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

PUBLISHED = json.loads((Path(__file__).parents[2] / "fixtures" / "published" / "genetics.json").read_text())
CHECKS = {check["id"]: check for check in PUBLISHED["checks"]}


def rows_of(pedigree):
    """Row of each name, and the parents' rows, of [animal, sire, dam]; a parent without a row of its own gets one."""
    names = [line[0] for line in pedigree]
    names += sorted({parent for line in pedigree for parent in line[1:3] if parent and parent not in names})
    row = {name: number for number, name in enumerate(names)} | {None: -1}
    parents = {line[0]: line[1:3] for line in pedigree}
    sire = np.array([row[parents.get(name, (None, None))[0]] for name in names], dtype=np.int64)
    dam = np.array([row[parents.get(name, (None, None))[1]] for name in names], dtype=np.int64)
    return row, sire, dam


def of(*pairs):
    """Parents' arrays from (sire, dam) pairs, one a row."""
    sire, dam = np.array(pairs, dtype=np.int64).reshape(-1, 2).T.copy()
    return sire, dam


def random_pedigree(rng, n, span=30, unknown=0.15):
    """n animals in shuffled rows; parents are two of the `span` animals before, some unknown, sexes not kept apart."""
    sire, dam = np.full(n, -1), np.full(n, -1)
    for row in range(2, n):
        both = rng.choice(np.arange(max(0, row - span), row), 2, replace=False)
        sire[row], dam[row] = np.where(rng.random(2) < unknown, -1, both)
    return shuffled(rng.permutation(n), sire, dam)


def shuffled(order, sire, dam):
    """The same pedigree with the animals in another order: row i of the answer is row order[i] of the old one."""
    now = np.append(np.argsort(order), -1)  # an unknown parent, row -1, stays unknown
    return now[np.asarray(sire)[order]], now[np.asarray(dam)[order]]


# how long an example takes says nothing on a busy machine
examples = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])

U = -1
GALLERY = {
    "nobody": of(),
    "one animal": of((U, U)),
    "two founders": of((U, U), (U, U)),
    #  0   ?
    #  └─┬─┘
    #    1
    "one parent known": of((U, U), (0, U)),
    #  0 ─┬─ 1
    #  2 ─┬─ 3   full sibs
    #     4
    "full sibs mated": of((U, U), (U, U), (0, 1), (0, 1), (2, 3)),
    #  0 ─┬─ 1
    #  0 ─┬─ 2   a buck on his daughter
    #  0 ─┬─ 3   and on her daughter
    #     4
    "sire on daughter twice": of((U, U), (U, U), (0, 1), (0, 2), (0, 3)),
    #  4 ─┬─ 5     founders, last of all
    #  2 ─┬─ 3     full sibs
    #  0     1     their litter, first of all
    "youngest first": of((2, 3), (2, 3), (4, 5), (4, 5), (U, U), (U, U)),
    #  0 ─┬─ 1    2 ─┬─ 3     two herds that never met
    #     4          5
    "two herds": of((U, U), (U, U), (U, U), (U, U), (0, 1), (2, 3)),
    #  generations overlap: 0 is mated with its great-great-granddaughter 5
    #  0 ─┬─ 1 → 2 → 3 → 4 → 5, other parents unknown;  0 ─┬─ 5 → 6
    "old buck, young doe": of((U, U), (U, U), (0, 1), (2, U), (3, U), (U, 4), (0, 5)),
    #  8 founders, then 8 animals a generation, each from two of the one before, round and round
    "closed ring": of(
        *[(U, U)] * 8,
        *[(8 * g + k, 8 * g + (k + g + 1) % 8) for g in range(6) for k in range(8)],
    ),
    "300 at random": random_pedigree(np.random.default_rng(4), 300),
    "60 at random, long spans": random_pedigree(np.random.default_rng(5), 60, span=60, unknown=0.05),
}


@st.composite
def pedigrees(draw, most=24, fewest=0):
    """Any pedigree: any order, overlapping generations, unknown parents, animals that are sire here and dam there."""
    n = draw(st.integers(fewest, most))
    pairs = []
    for row in range(n):
        one = draw(st.integers(-1, row - 1))
        other = draw(st.integers(-1, row - 1))
        pairs.append((one, other if other != one else -1))
    order = np.array(draw(st.permutations(range(n))), dtype=np.int64)
    return shuffled(order, *of(*pairs))
