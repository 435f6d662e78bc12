"""Writes of the season's plan: adding pairs, a note, dropping one and taking that back."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.actions.animals import kept_rows
from herds.finding import one_space
from pedigrees.models import PlannedMating
from pedigrees.planning.reading import bucks_for

MOST_NOTE = 200


def plan_matings(*, pairs, by):
    """Put pairs into the plans of their does' herds; pairs that are there already are left. Returns the new rows."""
    with rules_explained(), transaction.atomic():
        does = kept_rows([pair.doe for pair in pairs], by)
        herds = {doe.pk: doe.herd for doe in does}
        known = set(
            PlannedMating.objects.filter(dropped_at__isnull=True, doe__in=does).values_list("doe_id", "buck_id")
        )
        for pair in pairs:
            if not bucks_for(by).filter(pk=pair.buck.pk).exists():
                raise ValidationError(f"{pair.buck} is no longer offered to the club. Choose another buck.")
        return PlannedMating.objects.bulk_create(
            PlannedMating(
                herd=herds[pair.doe.pk],
                doe=pair.doe,
                buck=pair.buck,
                planned_by=by,
                expected_inbreeding=pair.inbreeding,
                reasons=pair.told,
            )
            for pair in pairs
            if (pair.doe.pk, pair.buck.pk) not in known
        )


def note_plan(*, plan, note, by):
    """Change the note on a planned mating."""
    note = one_space(note)
    if len(note) > MOST_NOTE:
        raise ValidationError({"note": f"Shorten the note to {MOST_NOTE} letters."})
    with rules_explained():
        plan.note = note
        plan.save(update_fields=["note"])
    return plan


def drop_plan(*, plan, by):
    """Take a pair out of the plan; it can be put back."""
    with rules_explained():
        plan.dropped_at = timezone.now()
        plan.save(update_fields=["dropped_at"])
    return plan


def restore_plan(*, plan, by):
    """Put a dropped pair back."""
    with rules_explained():
        plan.dropped_at = None
        plan.save(update_fields=["dropped_at"])
    return plan
