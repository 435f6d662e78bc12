"""Merits in the list of sires: which a member may read, in what order, and who is not ranked yet."""

import numpy as np

from grading import merit_words, merits
from grading.models import Merit

SUMMARIES = {"merit_surface": "surface", "merit_undercolor": "undercolor"}
NOT_RANKED = "Not ranked: too few"
NOT_SHARED = "not shared"


def columns_of(standing, member, keys):
    """{name of SUMMARIES: float (s,)} of sires by key (s,) in order; NaN where none may be read. Two queries."""
    found = {}
    for name, summary in SUMMARIES.items():
        evaluation = standing and standing.by_summary(summary)
        column = np.full(len(keys), np.nan)
        if evaluation is not None and len(keys):
            rows = Merit.objects.visible_to(member).filter(evaluation=evaluation, animal__in=keys.tolist())
            table = np.array(list(rows.values_list("animal_id", "value")), dtype=float).reshape(-1, 2)
            place = np.searchsorted(keys, table[:, 0].astype(np.int64))  # keys stand in order
            column[place] = table[:, 1]
        found[name] = column
    return found


def with_merits(rows, standing, member):
    """Put his merits into each row: `merit_surface`, `merit_undercolor` (steps or None) and `merit`, what the list
    draws; a sire who is not ranked shows none. One query."""
    pair = [standing.by_summary(summary) if standing else None for summary in SUMMARIES.values()]
    keys = [each and each.trait_id for each in pair]
    found = merits.read(standing, [row["key"] for row in rows], member, set(keys)) if any(pair) and rows else {}
    for row in rows:
        surface, undercolor = (found.get(row["key"], {}).get(key) for key in keys)
        row["merit_surface"], row["merit_undercolor"] = (each and each.step for each in (surface, undercolor))
        row["merit_told"] = [surface, undercolor]
        if row["too_few"]:
            row["merit"] = {"why": NOT_RANKED}
        elif surface is None and undercolor is None:
            row["merit"] = {"why": NOT_SHARED} if any(pair) else None
        else:
            row["merit"] = {
                "coat": merit_words.coat_of(surface, undercolor),
                "surface": merit_words.interval_words(surface),
                "undercolor": merit_words.interval_words(undercolor),
                "known": merit_words.known_words(min(m.reliability for m in (surface, undercolor) if m is not None)),
            }
    return rows


def in_order(rows, field, down):
    """Rows by a column, those where nothing is told behind; then the sires not ranked, most progeny first."""
    ranked = [row for row in rows if not row["too_few"]]
    told = sorted((row for row in ranked if row[field] is not None), key=lambda row: (row[field], row["key"]))
    untold = sorted((row for row in ranked if row[field] is None), key=lambda row: row["key"])
    few = sorted((row for row in rows if row["too_few"]), key=lambda row: (-row["animals"], row["key"]))
    return [*(told[::-1] if down else told), *untold, *few]


def places_in_order(columns, field, down, few):
    """The same order for columns (s,): places of the sires. few : bool (s,), who is not ranked."""
    value, key = columns[field], columns["key"]
    order = np.lexsort((key, value))
    order = order[::-1] if down else order
    order = order[np.argsort(np.isnan(value[order]), kind="stable")]
    last = np.lexsort((key, -columns["animals"]))
    return np.concatenate([order[~few[order]], last[few[last]]])
