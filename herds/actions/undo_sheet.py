"""Taking a sheet back out of the registry, whole or not at all."""

from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.importing.progress import Progress
from herds.importing.undoing import take_out, what_touched
from herds.models import BatchState, ImportBatch

from .sheets import ONE_AT_A_TIME, QUICK_ROWS, check_may_bring


def undo(*, batch, by):
    """Take a sheet back; refused with the names of what was touched since. A long one goes into the queue."""
    if batch.state != BatchState.DONE:
        raise ValidationError(f"{batch} is {batch.get_state_display()}. Open its page again.")
    check_may_bring(batch.herd, by)
    if touched := what_touched(batch):
        raise ValidationError([*touched, REFUSED])
    ImportBatch.objects.filter(pk=batch.pk).update(state=BatchState.UNDOING, undone_by=by, told="")
    batch.refresh_from_db()
    if batch.counts["rows"] <= QUICK_ROWS:
        take_back(batch)
        return
    from herds.tasks import undo_sheet

    transaction.on_commit(lambda: undo_sheet.enqueue(key=str(batch.key)))


REFUSED = "So this sheet can no longer be taken back as a whole. Correct single animals on their own pages."


def take_back(batch):
    """The undo itself. It checks again under the lock, and leaves everything as it was when something is in the way."""
    with Progress(batch, batch.counts.get("rows", 0)) as tell:
        try:
            with rules_explained():
                _take_back(batch, tell)
        except ValidationError as why:
            ImportBatch.objects.filter(pk=batch.pk).update(
                state=BatchState.DONE, undone_by=None, told=f"Nothing was taken back. {' '.join(why.messages)}"
            )
    batch.refresh_from_db()


def _take_back(batch, tell):
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
    locked = ImportBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    if locked.state != BatchState.UNDOING:
        return
    if touched := what_touched(locked):
        raise ValidationError([*touched, REFUSED])
    take_out(locked, tell)
    locked.state, locked.undone_at = BatchState.UNDONE, timezone.now()
    locked.save(update_fields=["state", "undone_at"])
