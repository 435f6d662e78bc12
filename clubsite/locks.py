"""The database's own locks. One goes with the connection that holds it, so a process that was killed holds none."""

from contextlib import contextmanager

from django.db import connection

NIGHTLY = 730100
EVALUATIONS = 730101


@contextmanager
def alone(space, name):
    """Hold the lock `name` of a space of this file while the block runs; gives False where another holds it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s, hashtext(%s))", [space, str(name)])
        held = cursor.fetchone()[0]
    try:
        yield held
    finally:
        if held:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s, hashtext(%s))", [space, str(name)])
