"""Background jobs of herds. Each takes keys, and may safely run twice."""

from uuid import UUID

from django_tasks import task

from clubsite.history import acting

from .models import BatchState, ImportBatch


@task()
def preview_sheet(key: str) -> str:
    """Work out the preview of a long sheet; returns the batch's state."""
    from .actions.sheets import preview

    batch = ImportBatch.objects.filter(key=UUID(key)).first()
    if batch is None or batch.state != BatchState.READING:
        return batch.state if batch else "gone"
    preview(batch)
    return batch.state


@task()
def write_sheet(key: str) -> str:
    """Bring a long sheet in; a job whose worker was killed left nothing, and is simply run again."""
    from .actions.sheets import commit

    batch = ImportBatch.objects.filter(key=UUID(key)).first()
    if batch is None or batch.state != BatchState.WRITING:
        return batch.state if batch else "gone"
    with acting(member=batch.by_id):
        commit(batch)
    return batch.state


@task()
def undo_sheet(key: str) -> str:
    """Take a long sheet back; like `write_sheet`, whole or not at all."""
    from .actions.undo_sheet import take_back

    batch = ImportBatch.objects.filter(key=UUID(key)).first()
    if batch is None or batch.state != BatchState.UNDOING:
        return batch.state if batch else "gone"
    with acting(member=batch.by_id):
        take_back(batch)
    return batch.state
