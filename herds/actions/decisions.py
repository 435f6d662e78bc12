"""Keep, grow on or let go: one animal or many at once, and taking it back."""

import uuid

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.finding import one_space
from herds.models import Decision, Verdict
from herds.words import day_words

from .animals import kept_rows
from .withdrawals import ask_about_withdrawals

OFFERED = [choice for choice in Verdict.choices if choice[0] != Verdict.UNDECIDED]


def decide(*, animals, verdict, by, reason="", on=None, confirmed=""):
    """One decision row for each animal, under one batch key; returns the rows.

    To let go while a withdrawal period runs asks first: `confirmed` is the answer's token.
    """
    on = on or timezone.localdate()
    reason = one_space(reason)
    if verdict not in dict(OFFERED):
        raise ValidationError({"verdict": "Choose keep, grow on or let go."})
    if verdict == Verdict.LET_GO and not reason:
        raise ValidationError({"reason": "Say in a word why to let go: next year the reason is what helps."})
    if len(reason) > 300:
        raise ValidationError({"reason": "Shorten the reason to 300 letters."})
    if on > timezone.localdate():
        raise ValidationError({"decided_on": f"{day_words(on)} lies in the future. Choose today or an earlier day."})
    with rules_explained():
        rows = kept_rows(animals, by)
        if verdict == Verdict.LET_GO:
            ask_about_withdrawals(rows, step="let go", confirmed=confirmed)
        return _decided([(animal, verdict, reason, on) for animal in rows], by)


def undo_decisions(*, batch, by):
    """Restore what was decided before a batch, as new rows; skips animals decided again since. Returns both."""
    with rules_explained():
        rows = list(Decision.objects.editable_by(by).filter(batch=batch).select_related("animal"))
        if not rows:
            raise ValidationError("This decision is no longer yours to take back.")
        kept_rows([row.animal for row in rows], by)
        restored, skipped = [], []
        for row in rows:
            newest, *older = Decision.objects.filter(animal=row.animal_id, herd=row.herd_id)[:2]
            if newest != row:
                skipped.append(row.animal)
                continue
            verdict, reason = (older[0].verdict, older[0].reason) if older else (Verdict.UNDECIDED, "")
            restored.append((row.animal, verdict, reason, max(row.decided_on, timezone.localdate())))
        return _decided(restored, by), skipped


def _decided(decisions, by):
    batch = uuid.uuid4()
    return Decision.objects.bulk_create(
        Decision(animal=animal, herd=animal.herd, verdict=verdict, reason=reason, decided_on=on, batch=batch, by=by)
        for animal, verdict, reason, on in decisions
    )
