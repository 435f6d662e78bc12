"""Slow, obvious answers to check the package against: plain loops and recursion, straight from the definitions."""

from functools import cache

import numpy as np


def elders_first(sire, dam):
    """Rows in an order in which every parent stands before its progeny."""
    order = []
    while len(order) < len(sire):
        before = len(order)
        order += [
            row
            for row in range(len(sire))
            if row not in order and all(parent in order for parent in (sire[row], dam[row]) if parent >= 0)
        ]
        assert len(order) > before, "somebody is their own ancestor"
    return order


def tabular_relationship(sire, dam):
    """A by the tabular method: half the sum of the parents' rows, and 1 + half the parents' relationship."""
    a = np.zeros((len(sire) + 1, len(sire) + 1))  # the last row is the unknown parent's
    done = []
    for i in elders_first(sire, dam):
        for j in done:
            a[i, j] = a[j, i] = (a[sire[i], j] + a[dam[i], j]) / 2
        a[i, i] = 1 + a[sire[i], dam[i]] / 2
        done.append(i)
    return a[:-1, :-1]


def wright_chains(sire, dam, first, second):
    """Every chain of Wright's rule by walking all lines up from both animals: (ancestor, first line, second line)."""

    def lines_up(row):
        yield (row,)
        for parent in (sire[row], dam[row]):
            if parent >= 0:
                for line in lines_up(parent):
                    yield (row, *line)

    return [
        (one[-1], one, other)
        for one in lines_up(first)
        for other in lines_up(second)
        if one[-1] == other[-1] and not set(one[:-1]) & set(other[:-1])
    ]


def line_counts(sire, dam):
    """For each row the number of known ancestors so many generations back, an ancestor counted once for each line."""

    @cache
    def known(row, back):
        if row < 0:
            return 0
        return 1 if back == 0 else known(sire[row], back - 1) + known(dam[row], back - 1)

    return known


def founder_shares(sire, dam, cohort):
    """Share of the cohort from each founder; ('unknown parent of', row) is the founder that has no row."""
    shares = {}

    def climb(row, share):
        parents = [sire[row], dam[row]]
        if parents == [-1, -1]:
            shares[row] = shares.get(row, 0) + share
            return
        for parent in parents:
            if parent >= 0:
                climb(parent, share / 2)
            else:
                key = ("unknown parent of", row)
                shares[key] = shares.get(key, 0) + share / 2

    for row in cohort:
        climb(row, 1 / len(cohort))
    return shares


def marginal_ancestors(sire, dam, cohort):
    """Ancestors by largest marginal share, of equals the elder, as (row, unknown, share), until all is explained."""
    n = len(sire)
    sire, dam, owner = list(sire), list(dam), {}
    for row in range(n):
        for parents, other in ((sire, dam), (dam, sire)):
            if parents[row] < 0 <= other[row]:
                owner[len(sire)] = row
                parents[row] = len(sire)
                sire.append(-1)
                dam.append(-1)
    order = elders_first(sire, dam)
    depth = [0] * len(sire)
    for row in order:
        depth[row] = 1 + max(depth[parent] if parent >= 0 else -1 for parent in (sire[row], dam[row]))
    chosen, answer, total = [], [], 0.0
    while total < 1 - 1e-12:
        through = [cohort.count(row) / len(cohort) for row in range(len(sire))]
        for row in reversed(order):
            for parent in (sire[row], dam[row]):
                if parent >= 0 and row not in chosen:
                    through[parent] += through[row] / 2
        explained = [0.0] * len(sire)
        for row in order:
            parts = [explained[parent] / 2 for parent in (sire[row], dam[row]) if parent >= 0]
            explained[row] = 1.0 if row in chosen else sum(parts)
        marginal = [share * (1 - part) for share, part in zip(through, explained, strict=True)]
        best = max(marginal)
        row = min((r for r in order if marginal[r] >= best - 1e-12), key=lambda r: (depth[r], r))
        chosen.append(row)
        answer.append((owner.get(row, row), row in owner, marginal[row]))
        total += marginal[row]
    return answer
