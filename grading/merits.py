"""Merits as pages need them: the last good evaluation of a breed, merits on the step scale, and how sure they are.

A merit counts from the founders' mean, in steps. `reference` is the step an animal of merit 0 would be given grown,
in prime coat, in hand, by a grader who leans no way; so `reference + merit` stands on the same scale as the goal.
"""

import math
from dataclasses import dataclass, field

from grading.figures import WITHIN
from grading.models import CoatStage, EvaluationRun, Merit, Mode, RunState, TraitEvaluation

GROWN_QUARTERS = range(3, 9)  # nine months to two years and a quarter: grown, and before seniors fade much


@dataclass(frozen=True)
class Standing:
    """The current evaluations of a breed.

    traits : {trait key: TraitEvaluation, its trait and run fetched}. genetic : (value, low, high) of the genetic
    correlation of surface shade and undercolor, or None. run : the latest run among them. together : all that the last
    run that told them as a pair kept of it.
    """

    traits: dict
    genetic: tuple | None
    run: EvaluationRun
    together: dict = field(default_factory=dict)

    def by_summary(self, summary):
        """The evaluation of surface shade, undercolor or reach; None where there is none."""
        return next((each for each in self.traits.values() if each.trait.summary == summary), None)

    @property
    def surface(self):
        return self.by_summary("surface")

    @property
    def undercolor(self):
        return self.by_summary("undercolor")

    @property
    def correlation(self):
        """The genetic correlation to reckon with: 0 where the run could not tell it."""
        return 0.0 if self.genetic is None else self.genetic[0]


@dataclass(frozen=True)
class MeritOf:
    """An animal's merit for a trait: value in steps from the founders' mean, reliability 0 to 1, error in steps.

    error : standard error of prediction, sqrt((1 - reliability) x genetic variance); an inbred animal's is a little
    larger. step : reference + value. low, high : the 95 % interval of `step`.
    """

    value: float
    reliability: float
    error: float
    step: float

    @property
    def low(self):
        return self.step - WITHIN * self.error

    @property
    def high(self):
        return self.step + WITHIN * self.error


def current(breed_id, *, leading=False):
    """The Standing of a breed, or None before its first good run; `leading`: with the summed traits alone. Two queries.

    A large club's tables of graders and years are long, so lists and cards ask for the leading traits.
    """
    rows = TraitEvaluation.objects.current(breed_id).select_related("trait", "run")
    if leading:
        rows = rows.exclude(trait__summary="")
    rows = [row for row in rows if row.base is not None]
    if not rows:
        return None
    pairs = EvaluationRun.objects.filter(breed=breed_id, state=RunState.DONE).order_by("-ended_at", "-pk")
    together = pairs.filter(together__has_key="genetic").values_list("together", flat=True).first()
    genetic = (together or {}).get("genetic")
    known = genetic and genetic["value"] is not None
    return Standing(
        traits={row.trait_id: row for row in rows},
        genetic=(genetic["value"], genetic["low"], genetic["high"]) if known else None,
        run=max((row.run for row in rows), key=lambda run: run.ended_at),
        together=together or {},
    )


def reference(evaluation):
    """The step of an animal of merit 0, grown, in prime coat, in hand, by an average grader."""
    fixed = evaluation.fixed
    grown = {str(quarter) for quarter in GROWN_QUARTERS}
    parts = (
        _level(fixed.get("coat stage", {}), {CoatStage.PRIME.value}),
        _level(fixed.get("mode", {}), {Mode.IN_HAND.value}),
        _level(fixed.get("age", {}), grown),
    )
    return evaluation.base + sum(parts)


def _level(table, keys):
    """Mean effect of some levels over their looks; 0 where none of them was seen."""
    rows = [(steps, looks) for key, (steps, looks) in table.items() if key in keys and steps is not None]
    looks = sum(count for _, count in rows)
    return sum(steps * count for steps, count in rows) / looks if looks else 0.0


def merit_of(evaluation, value, reliability, at=None):
    """A MeritOf; `at` is the evaluation's reference where it is known already."""
    variance = evaluation.variances.get("animal") or 0.0
    step = (reference(evaluation) if at is None else at) + value
    return MeritOf(value, reliability, math.sqrt(max(1 - reliability, 0.0) * variance), step)


def read(standing, animals, member=None, traits=None):
    """{animal key: {trait key: MeritOf}}; only what the member may see, where one is given. One query."""
    chosen = {key: each for key, each in standing.traits.items() if traits is None or key in traits}
    rows = Merit.objects.filter(evaluation__in=[each.pk for each in chosen.values()], animal__in=animals)
    if member is not None:
        rows = rows.visible_to(member)
    trait_of = {each.pk: key for key, each in chosen.items()}
    at = {key: reference(each) for key, each in chosen.items()}
    found: dict = {}
    for animal, evaluation, value, reliability in rows.values_list("animal", "evaluation", "value", "reliability"):
        trait = trait_of[evaluation]
        found.setdefault(animal, {})[trait] = merit_of(chosen[trait], value, reliability, at[trait])
    return found


def pair_covariance(standing, surface, undercolor):
    """(2, 2) error covariance of an animal's two merits, for an ellipse.

    Errors are taken to hang together as the genes do: by the genetic correlation. The exact value needs the whole
    system solved and lies near it, since both traits are told from the same looks.
    """
    between = standing.correlation * surface.error * undercolor.error
    return [[surface.error**2, between], [between, undercolor.error**2]]


def genetic_covariance(standing):
    """(2, 2) genetic covariance of surface shade and undercolor among unrelated animals; None without both."""
    first, second = standing.surface, standing.undercolor
    if first is None or second is None:
        return None
    a, b = first.variances.get("animal") or 0.0, second.variances.get("animal") or 0.0
    between = standing.correlation * math.sqrt(a * b)
    return [[a, between], [between, b]]
