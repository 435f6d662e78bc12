"""Keeps the stored inbreeding current: what is due now, and all of it once a night."""

import logging

import numpy as np
from django.db import DatabaseError, connection, transaction

from pedigrees import kinship
from pedigrees.load import Pedigree, PedigreeProblem, ancestors_of, by_name, whole_registry
from pedigrees.models import Inbreeding

log = logging.getLogger(__name__)

MOST_AT_ONCE = 2_000  # beyond that one reading of the whole registry is quicker than looking for ancestors
CHANGES_OF_PARENTS = 730001  # the lock that herds takes while parents change; held while figures are written

ANY_OF_THEM_BRED = """
    SELECT EXISTS (
        SELECT 1 FROM pedigrees_inbreeding AS due CROSS JOIN LATERAL (
            SELECT 1 FROM herds_animal WHERE sire_id = due.animal_id
            UNION ALL SELECT 1 FROM herds_animal WHERE dam_id = due.animal_id) AS young
        WHERE due.value IS NULL)
"""
# A kit logged in the very moment in which a forefather's parents were changed was not seen by that change.
DESCENDANTS_TOO = """
    WITH RECURSIVE down(id) AS (
        SELECT animal_id FROM pedigrees_inbreeding WHERE value IS NULL
        UNION
        SELECT young.id FROM down CROSS JOIN LATERAL (
            SELECT id FROM herds_animal WHERE sire_id = down.id
            UNION ALL SELECT id FROM herds_animal WHERE dam_id = down.id) AS young)
    UPDATE pedigrees_inbreeding AS figure SET value = NULL, computed_at = NULL, turn = turn + 1
    FROM down JOIN herds_animal AS animal ON animal.id = down.id
    WHERE figure.animal_id = down.id AND figure.value IS NOT NULL
        AND animal.sire_id IS NOT NULL AND animal.dam_id IS NOT NULL
"""
# Only after a restore or a bulk load with triggers off is there an animal without its row.
ROWS_FOR_ALL = """
    INSERT INTO pedigrees_inbreeding (animal_id, turn) SELECT id, 1 FROM herds_animal ON CONFLICT DO NOTHING
"""
WRITE = """
    UPDATE pedigrees_inbreeding AS figure SET value = found.value, computed_at = now()
    FROM unnest(%s::bigint[], %s::float8[], %s::int[]) AS found(id, value, turn)
    WHERE figure.animal_id = found.id AND figure.turn = found.turn
"""


def refresh_due() -> int:
    """Work out every figure that is due; returns how many were written. May run twice at once and be stopped anywhere.

    An animal whose ancestors contradict each other stays due and is told of in the log; its pages name the animals.
    """
    with transaction.atomic():
        _hold_still()
        with connection.cursor() as cursor:
            cursor.execute(ANY_OF_THEM_BRED)  # of a new litter none has, and the long way down is spared
            if cursor.fetchone()[0]:
                cursor.execute(DESCENDANTS_TOO)
    turns = dict(Inbreeding.objects.due().values_list("animal", "turn"))
    if not turns:
        return 0
    return _write(_figures(sorted(turns)), turns)


def refresh_all() -> int:
    """Work out every figure of the registry anew; returns how many were missing or other than stored."""
    with connection.cursor() as cursor:
        cursor.execute(ROWS_FOR_ALL)
    stored = {key: (value, turn) for key, value, turn in Inbreeding.objects.values_list("animal", "value", "turn")}
    pedigree = whole_registry()
    with by_name(pedigree):
        worked_out = kinship.inbreeding(pedigree.sire, pedigree.dam)
    differs = {
        int(key): value
        for key, value in zip(pedigree.ids, worked_out.tolist(), strict=True)
        if key in stored and (stored[key][0] is None or abs(stored[key][0] - value) > 1e-12)
    }
    return _write(differs, {key: stored[key][1] for key in differs})


def refresh_soon():
    """Have a job work out what is due, unless one is waiting already; quick, and safe to call from any page."""
    from django_tasks_db.models import DBTaskResult

    from pedigrees.tasks import refresh_inbreeding

    if not Inbreeding.objects.due().exists():
        return
    # one that runs already may have looked before these were due
    if not DBTaskResult.objects.filter(status="READY", task_path=refresh_inbreeding.module_path).exists():
        refresh_inbreeding.enqueue()


def refresh_after_commit(sender, instance, created, update_fields, **_):
    """After an animal is saved: one look at the end of the transaction at what is due, however many kits it logged."""
    if update_fields is not None and not {"sire", "dam", "sire_id", "dam_id"} & set(update_fields):
        return
    if not any(after is refresh_soon for _, after, *_ in connection.run_on_commit):
        transaction.on_commit(refresh_soon, robust=True)


def refresh_after_job(sender, task_result, **_):
    """After any other job: a sheet or a merge may have written animals without a signal for each."""
    from pedigrees.tasks import refresh_inbreeding

    if task_result.task.module_path == refresh_inbreeding.module_path:
        return
    try:
        refresh_soon()
    except DatabaseError:  # what goes wrong here must not make a failure of that job
        log.exception("Inbreeding that may be due was not looked for.")


def _figures(keys):
    """{key: inbreeding} of these animals; the ones whose ancestors contradict each other are left out."""
    try:
        pedigree = whole_registry() if len(keys) > MOST_AT_ONCE else ancestors_of(keys)
        return _worked_out(pedigree, keys)
    except PedigreeProblem as problem:
        if len(keys) == 1:
            log.warning("Inbreeding of animal %s cannot be worked out: %s", keys[0], problem)
            return {}
        half = len(keys) // 2
        return _figures(keys[:half]) | _figures(keys[half:])


def _worked_out(pedigree: Pedigree, keys):
    """Of a new litter the parents' coancestry alone, if all their ancestors are current; else everybody anew."""
    rows = pedigree.rows_of(keys)
    gone, rows = rows < 0, rows[rows >= 0]
    keys = [key for key, missing in zip(keys, gone, strict=True) if not missing]
    due = np.isnan(pedigree.f)
    with by_name(pedigree):
        if due.sum() == len(keys) and not (due[pedigree.sire[rows]] | due[pedigree.dam[rows]]).any():
            litters, litter = np.unique(
                np.stack([pedigree.sire[rows], pedigree.dam[rows]]), axis=1, return_inverse=True
            )
            known = np.where(due, 0.0, pedigree.f)  # of the kits themselves it is never asked
            found = kinship.coancestry(pedigree.sire, pedigree.dam, *litters, inbreeding=known)[litter.ravel()]
        else:
            found = kinship.inbreeding(pedigree.sire, pedigree.dam)[rows]
    return dict(zip(keys, found.tolist(), strict=True))


def _hold_still():
    """Wait for parents that are just being changed, and let none change until the end of this transaction."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [CHANGES_OF_PARENTS])


def _write(figures, turns):
    if not figures:
        return 0
    keys = list(figures)
    with transaction.atomic():
        _hold_still()
        with connection.cursor() as cursor:
            cursor.execute(WRITE, [keys, [figures[key] for key in keys], [turns[key] for key in keys]])
            return cursor.rowcount
