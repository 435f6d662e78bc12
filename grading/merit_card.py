"""One animal's merits with as little of their evaluations as it takes, and why there are none.

An animal has one merit a trait, since a run drops those of earlier runs. Of an evaluation's tables only the levels that
the reference step needs are read: a large club's table of graders and years is long.
"""

from dataclasses import dataclass, field
from datetime import datetime

from django.db.models.fields.json import KeyTransform

from grading import merit_words, merits
from grading.models import EvaluationRun, Merit, RunState, Trait

TABLES = ("coat stage", "mode", "age")


@dataclass(frozen=True)
class Light:
    """As much of a TraitEvaluation as merits.reference and merit_words.row_of ask for."""

    trait: Trait
    base: float
    variances: dict
    ended_at: datetime
    fixed: dict = field(default_factory=dict)


def read(animal, member):
    """[(Light, MeritOf)] of an animal in the order of the traits, as far as the member may read them. Two queries."""
    rows = Merit.objects.visible_to(member).filter(animal=animal, evaluation__run__state=RunState.DONE)
    tables = {name.replace(" ", "_"): KeyTransform(name, "evaluation__fixed") for name in TABLES}
    found = list(
        rows.filter(evaluation__base__isnull=False)
        .annotate(**tables)
        .values(
            "value", "reliability", "evaluation__trait_id", "evaluation__base", "evaluation__variances",
            "evaluation__run__ended_at", *tables,
        )
    )  # fmt: skip
    traits = Trait.objects.in_bulk([row["evaluation__trait_id"] for row in found]) if found else {}
    told = []
    for row in found:
        light = Light(
            traits[row["evaluation__trait_id"]],
            row["evaluation__base"],
            row["evaluation__variances"],
            row["evaluation__run__ended_at"],
            {name: row[name.replace(" ", "_")] or {} for name in TABLES},
        )
        told.append((light, merits.merit_of(light, row["value"], row["reliability"])))
    return sorted(told, key=lambda pair: (pair[0].trait.section, pair[0].trait.position))


def why_none(animal):
    """Why the member reads no merits of an animal; empty while the breed has no run. Two queries at most."""
    if Merit.objects.filter(animal=animal).exists():
        return merit_words.NOT_SHARED
    done = EvaluationRun.objects.filter(breed=animal.breed_id, state=RunState.DONE)
    return merit_words.NOT_IN_RUN if done.exists() else ""
