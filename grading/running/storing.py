"""Keeps what a run found, all of it or nothing, and lets the merits of earlier runs go."""

import json
import math

import numpy as np
from django.db import connection, transaction

from grading.models import EvaluationRun, Merit, TraitEvaluation
from grading.running.warnings import untold_words

AT_ONCE = 20_000


@transaction.atomic
def keep(run, looks, found, together):
    """found : {trait key: work.Found}. Merits of the same traits' earlier runs are dropped; their figures stay."""
    graded = [key for key, each in found.items() if each.merit is not None]
    for each in [*(one.kept for one in found.values()), together]:
        say_levels(each)
    rows = TraitEvaluation.objects.bulk_create(
        TraitEvaluation(run=run, trait_id=key, refused=each.refused, **each.counts, **said(each.kept))
        for key, each in found.items()
    )
    by_trait = {row.trait_id: row.pk for row in rows}
    earlier = TraitEvaluation.objects.filter(run__breed=run.breed_id, trait__in=graded).exclude(run=run)
    Merit.objects.filter(evaluation__in=earlier.values("pk"))._raw_delete("default")
    with connection.cursor() as cursor:
        into = "COPY grading_merit (evaluation_id, animal_id, value, reliability) FROM STDIN"
        with cursor.copy(into) as copy:
            for key in graded:
                for line in lines(by_trait[key], looks, found[key]):
                    copy.write(line)
    EvaluationRun.objects.filter(pk=run.pk).update(together=said(together))
    return rows


def say_levels(kept):
    """Adds to the warnings those about levels, in words that name no grader; `sentences` names them to officers."""
    untold = (kept.get("connections") or kept).get("untold", [])
    if untold:
        kept["warnings"] = [*kept["warnings"], *(untold_words(each, {}) for each in untold)]


def lines(evaluation, looks, found):
    """COPY's text for the merits of the breed's animals, in pieces."""
    rows = np.flatnonzero(looks.of_breed)
    for start in range(0, len(rows), AT_ONCE):
        some = rows[start : start + AT_ONCE]
        yield "".join(
            f"{evaluation}\t{key}\t{value!r}\t{reliability!r}\n"
            for key, value, reliability in zip(
                looks.ids[some].tolist(), found.merit[some].tolist(), found.reliability[some].tolist(), strict=True
            )
        )


def said(given):
    """The same with every number that is none (NaN or endless) as None, since nothing of that kind may reach a page."""
    return json.loads(json.dumps(_plain(given)))


def _plain(given):
    if isinstance(given, dict):
        return {str(key): _plain(value) for key, value in given.items()}
    if isinstance(given, (list, tuple)):
        return [_plain(value) for value in given]
    if isinstance(given, np.generic):
        given = given.item()
    if isinstance(given, float) and not math.isfinite(given):
        return None
    return given
