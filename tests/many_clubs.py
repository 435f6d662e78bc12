"""Whether the year report's intervals hold the truth as often as they say: many made-up clubs, a row for each kind.

`python -m tests.many_clubs CLUBS [first words of kinds ...]` prints the table of DEVELOPERS.md; seeds are 1000 and up,
or 5000 and up with `CLUBS@5000`.
Of the breed, then of the grading: true change, error, its spread, half the interval, how often the interval held the
truth, how often it moved / held still / could not be told, and how often that was wrong.
"""

import os
import sys

import numpy as np

from grading.year_verdict import STILL_STEPS

NOTHING = 0.1  # steps: who says "moved" of less than this, in that direction, is wrong
KINDS = {
    "not chosen, graders steady": {"drift": 0.0, "choose": False},
    "not chosen, graders drift 0.2 a year": {"drift": 0.2, "choose": False},
    "chosen mildly, graders steady": {"drift": 0.0, "choose": True, "blur": 2.0},
    "chosen hard, graders steady": {"drift": 0.0, "choose": True},
    "chosen hard, graders drift 0.2 a year": {"drift": 0.2, "choose": True},
    "chosen hard, fade inherited": {"drift": 0.0, "choose": True, "fade": 0.2},
}


def club(seed, kind):
    """What one club's report says of breed and graders: (true, slope, low, high, state) each, as changes over years."""
    from grading.running import years
    from tests.club_by_year import FIRST_YEAR, made, told

    looks, steps, true = made(seed, **kind)
    report = told(looks, steps)
    grader = looks.observer
    born, place, count = np.unique(looks.born, return_inverse=True, return_counts=True)
    weights = years.along(born, count)
    bred = float(weights @ (np.bincount(place, true) / count))
    # graders see each year alike but for who looked how often: what that adds is told by their true leans
    lean = leans(seed, looks)
    year, place, count = np.unique(looks.year, return_inverse=True, return_counts=True)
    given = lean[grader - 1] + kind["drift"] * (looks.year - FIRST_YEAR)
    graded = float(years.along(year, count) @ (np.bincount(place, given) / count))
    return [
        (line.over(truth), line.over(line.slope), line.over(line.low), line.over(line.high), line.state)
        for line, truth in ((report.bred, bred), (report.grading, graded))
    ]


def leans(seed, looks):
    """The true leans of the graders of `made`, drawn anew as it draws them."""
    from tests.club_by_year import GRADERS

    rng = np.random.default_rng([2606, seed])
    founders = int((looks.pedigree.sire < 0).sum())
    rng.integers(0, 4, founders)
    rng.standard_normal(founders)
    rng.standard_normal(founders)
    return 0.6 * rng.standard_normal(GRADERS)


def row(name, clubs):
    """One row of the table: means over clubs with their standard errors."""
    said = [name]
    for at in range(2):
        true, found, low, high = np.array([each[at][:4] for each in clubs]).T
        held = (low <= true) & (true <= high)
        error, n = found - true, len(clubs)
        states = [each[at][4] for each in clubs]
        moved = [
            state == "moved" and truth * np.sign(x) < NOTHING
            for state, truth, x in zip(states, true, found, strict=True)
        ]
        still = [state == "still" and abs(truth) > STILL_STEPS for state, truth in zip(states, true, strict=True)]
        said += [
            f"{true.mean():.2f}",
            f"{error.mean():+.2f} ± {error.std() / n**0.5:.2f}",
            f"{error.std():.2f}",
            f"{((high - low) / 2).mean():.2f}",
            f"{held.mean():.0%} ± {(held.mean() * (1 - held.mean()) / n) ** 0.5:.0%}",
            "/".join(str(states.count(state)) for state in ("moved", "still", "unknown")),
            str(sum(moved) + sum(still)),
        ]
    return "| " + " | ".join(said) + " |\n"


def main(clubs, words, first):
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubsite.settings")
    django.setup()
    for name, kind in KINDS.items():
        if not words or any(name.startswith(word) for word in words):
            sys.stdout.write(row(name, [club(first + seed, kind) for seed in range(clubs)]))
            sys.stdout.flush()


if __name__ == "__main__":
    count, _, since = sys.argv[1].partition("@")
    main(int(count), sys.argv[2:], int(since or 1000))
