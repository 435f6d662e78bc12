"""What pedigrees does once a night."""

from clubsite.nightly import NightlyJob, register
from pedigrees.actions.inbreeding import refresh_all
from pedigrees.actions.population import work_out_all


def inbreeding():
    return f"{refresh_all():,} figures of inbreeding were missing or other than stored."


def register_jobs():
    """Called once when the app is ready."""
    register(NightlyJob("inbreeding", "Inbreeding of every animal", inbreeding, 30))
    register(NightlyJob("population", "Population figures of every breed", work_out_all, 40))
