"""How far a job is, told beside its one large transaction over a connection of its own."""

import psycopg
from django.db import connection, transaction

from herds.models import ImportProgress

QUIET_UNDER = 3_000  # rows; shorter sheets are done before anybody looks


class Progress:
    """Tells the steps of a batch; `with Progress(batch, rows) as tell: tell("writing animals", 200, 1000)`."""

    def __init__(self, batch, rows):
        self.batch, self.loud, self.line = batch, batch is not None and rows >= QUIET_UNDER, None

    def __enter__(self):
        if self.batch is not None:
            ImportProgress.objects.get_or_create(batch=self.batch)
        if self.loud:
            given = {name: value for name, value in connection.get_connection_params().items() if value is not None}
            for name in ("cursor_factory", "context", "prepare_threshold"):
                given.pop(name, None)
            self.line = psycopg.connect(**given, autocommit=True)
        return self

    def __exit__(self, *error):
        if self.line is not None:
            self.line.close()

    def __call__(self, step, done=0, total=0):
        if self.line is not None:
            self.line.execute(
                "UPDATE herds_importprogress SET step = %s, done = %s, total = %s WHERE batch_id = %s",
                [step, done, total, self.batch.pk],
            )
        elif self.batch is not None and not transaction.get_connection().in_atomic_block:
            ImportProgress.objects.filter(batch=self.batch).update(step=step, done=done, total=total)
