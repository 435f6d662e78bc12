"""Sires that break the trade-off: those who may well breed brighter and darker to the skin than the club at once.

For a sire with merits s, u (steps) and errors e_s, e_u that hang together by the genetic correlation r, his true merits
are bivariate normal round (s, u). Told are the chance that both lie above the club's mean, the chance that both lie in
the goal ranges, and how far u lies above the line that the club's own merits follow.
Source of the chances: grading/two_normals.py. That errors hang together as the genes do is an approximation.
"""

from dataclasses import dataclass

import numpy as np
from django.db import connection

from grading import merit_words, merits
from grading.figures import WITHIN
from grading.models import Merit
from grading.two_normals import below_both, inside
from herds.models import Animal

FAR = 20.0  # standard errors: as good as without end
MOST_DRAWN = 40

PROGENY = """
    SELECT young.sire_id, count(*), count(DISTINCT young.dam_id) FROM herds_animal young
    WHERE young.sire_id = ANY (%s) AND EXISTS (
        SELECT 1 FROM grading_look look WHERE look.animal_id = young.id AND look.current)
    GROUP BY young.sire_id
"""


@dataclass(frozen=True)
class Chances:
    """Columns (n,) of sires: chance of both true merits above the club's means, of both in the goals (NaN without
    goals), and steps of undercolor above the club's line with the standard error of that."""

    both: np.ndarray
    goal: np.ndarray
    above: np.ndarray
    error: np.ndarray


def chances(steps, errors, correlation, mean, covariance, goal=None):
    """Chances from steps, errors (n, 2) of surface shade and undercolor; mean (2,), covariance (2, 2) of the club's
    merits; goal : ((low, high), (low, high)) in whole steps, each standing for all that rounds to it."""
    steps, errors = np.asarray(steps, float).reshape(-1, 2), np.asarray(errors, float).reshape(-1, 2)
    surface, under = steps.T
    e_surface, e_under = np.maximum(errors, 1e-9).T
    far = [
        np.clip((each - m) / e, -FAR, FAR) for each, m, e in ((surface, mean[0], e_surface), (under, mean[1], e_under))
    ]
    both = below_both(far[0], far[1], correlation)
    in_goal = np.full(len(steps), np.nan)
    if goal:
        (low, high), (under_low, under_high) = goal
        lowest, highest = (low - 0.5, under_low - 0.5), (high + 0.5, under_high + 0.5)
        in_goal = inside(lowest, highest, (surface, under), (e_surface, e_under), correlation)
    slope = slope_of(covariance)
    above = under - mean[1] - slope * (surface - mean[0])
    error = np.sqrt(
        np.maximum(e_under**2 + (slope * e_surface) ** 2 - 2 * slope * correlation * e_surface * e_under, 0)
    )
    return Chances(both, in_goal, above, error)


def slope_of(covariance):
    """Steps of undercolor that go with a step of surface shade among the club's merits; 0 where no surface varies."""
    return covariance[0][1] / covariance[0][0] if covariance[0][0] > 0 else 0.0


def rows_of(standing, spread, member, club, goal=None):
    """Dicts of the sires on the good side of both means, the likeliest first; those too few to rank are left out.

    Only merits that the member may read. Four queries.
    """
    pair = standing.surface, standing.undercolor
    readable = Merit.objects.visible_to(member).filter(animal__sex="buck")
    at = [merits.reference(each) for each in pair]
    surface = readable.filter(evaluation=pair[0], value__gt=spread["mean"][0] - at[0])
    under = readable.filter(evaluation=pair[1], value__gt=spread["mean"][1] - at[1])
    dark = {row[0]: row[1:] for row in under.values_list("animal", "value", "reliability")}
    found = [row for row in surface.values_list("animal", "value", "reliability") if row[0] in dark]
    if not found:
        return []
    counts = progeny_of([row[0] for row in found])
    kept = [
        row for row in found
        if counts.get(row[0], (0, 0))[0] >= club.ranking_progeny and counts[row[0]][1] >= club.ranking_dams
    ]  # fmt: skip
    told = [
        (
            merits.merit_of(pair[0], value, reliability, at[0]),
            merits.merit_of(pair[1], *dark[key], at[1]),
        )
        for key, value, reliability in kept
    ]
    if not told:
        return []
    found = chances(
        [[one.step, other.step] for one, other in told],
        [[one.error, other.error] for one, other in told],
        standing.correlation, spread["mean"], spread["covariance"], goal,
    )  # fmt: skip
    order = np.lexsort((np.array([row[0] for row in kept]), -found.both))
    sires = Animal.objects.select_related("herd").in_bulk([row[0] for row in kept])
    return [
        {
            "sire": sires[kept[place][0]],
            "surface": told[place][0],
            "undercolor": told[place][1],
            "both": float(found.both[place]),
            "goal": None if np.isnan(found.goal[place]) else float(found.goal[place]),
            "both_said": merit_words.cases(found.both[place]),
            "goal_said": "no goal set" if np.isnan(found.goal[place]) else merit_words.cases(found.goal[place]),
            "above": float(found.above[place]),
            "above_low": float(found.above[place] - WITHIN * found.error[place]),
            "above_high": float(found.above[place] + WITHIN * found.error[place]),
            "progeny": counts[kept[place][0]][0],
            "dams": counts[kept[place][0]][1],
        }
        for place in order
    ]


def progeny_of(sires):
    """{sire key: (progeny looked at, their dams)}. One query."""
    with connection.cursor() as cursor:
        cursor.execute(PROGENY, [sires])
        return {sire: (animals, dams) for sire, animals, dams in cursor.fetchall()}
