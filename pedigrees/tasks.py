"""Background jobs of pedigrees. Each may safely run twice."""

from django_tasks import task

from pedigrees.actions.inbreeding import refresh_due


@task
def refresh_inbreeding() -> int:
    """Work out the inbreeding that is due; returns how many figures were written."""
    return refresh_due()
