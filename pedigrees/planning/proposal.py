"""One set of matings for the whole herd, with its reasons in words."""

from dataclasses import dataclass

import numpy as np

from herds.words import count_words, listed
from pedigrees.planning.optimum import best_matings, lowest_mean
from pedigrees.planning.ranking import worth
from pedigrees.words import percent


@dataclass(frozen=True)
class Proposal:
    """`pairs` to mate, `left` the does without a buck, `words` what was weighed and what came of it."""

    pairs: list
    left: list
    mean: float
    words: list


def propose(plan, *, capacity, limit, close):
    """The Proposal for a Plan. capacity : does a buck serves at most; limit : highest mean coancestry, 0 to 1.

    Close pairs are left out unless `close` is True.
    """
    inbreeding = np.array([[pair.inbreeding for pair in row] for row in plan.pairs], dtype=float)
    inbreeding = inbreeding.reshape(len(plan.does), len(plan.bucks))
    allowed = np.array([[close or not pair.close for pair in row] for row in plan.pairs]).reshape(inbreeding.shape)
    room = [capacity] * len(plan.bucks)
    found = best_matings(worth(plan.pairs), inbreeding, room, limit=limit, allowed=allowed)
    pairs = [row[column] for row, column in zip(plan.pairs, found.buck, strict=True) if column >= 0]
    left = [doe for doe, column in zip(plan.does, found.buck, strict=True) if column < 0]
    words = []
    if pairs:
        words.append(
            f"{count_words(len(pairs), 'doe')} mated, mean expected inbreeding {percent(found.mean_coancestry)} "
            f"(the limit was {percent(limit)}); no buck serves more than {count_words(capacity, 'doe')}."
        )
        words.append(
            "Among all sets that mate so many does, this one has the highest chances of kits that reach both goals; "
            "where a chance cannot be told, the nearness to the goals was weighed."
        )
    if left:
        words.append(_why_left(plan, left, inbreeding, allowed, room, limit))
    if not found.complete:
        words.append("The search was stopped after ten seconds; a better set may exist.")
    return Proposal(pairs, left, found.mean_coancestry, words)


def _why_left(plan, left, inbreeding, allowed, room, limit):
    names = listed([str(doe) for doe in left[:6]]) + (f" and {len(left) - 6} more" if len(left) > 6 else "")
    if len(plan.does) > sum(room):
        return f"No buck is left for {names}: let each buck serve more does, or choose more bucks."
    lowest = lowest_mean(inbreeding, room, allowed)
    if lowest == lowest and lowest > limit:
        return f"No buck for {names} under this limit: the lowest mean for all does would be {percent(lowest)}."
    return f"No buck for {names}: every pair is a close mating or breaks the limit. Choose more bucks."
