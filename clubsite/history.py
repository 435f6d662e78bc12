"""Who acts, where and why: facts that travel to the database ahead of each write, in the same round trip.

The triggers of `remember` read them there. They are local to the transaction, so a pooled connection keeps nothing.
"""

from contextlib import contextmanager

import pghistory


@contextmanager
def acting(**facts):
    """Within the block, changes are remembered with these facts: `member` (a key), `page`, `reason`.

    The database has them until its transaction ends: a transaction around several blocks needs one around them too.
    """
    with pghistory.context() as tracked:
        before = dict(tracked.metadata)
        tracked.metadata.update(facts)
        try:
            yield
        finally:
            tracked.metadata.clear()
            tracked.metadata.update(before)


def because(reason):
    """Within the block, changes are remembered with this reason."""
    return acting(reason=str(reason).strip())


def now_acting(**facts):
    """Adds facts to the block that is running, until that block ends."""
    pghistory.context(**facts)
