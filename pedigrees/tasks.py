"""Background jobs of pedigrees. Each may safely run twice."""

from django_tasks import task

from pedigrees.actions import population
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.models import PopulationRun


@task
def refresh_inbreeding() -> int:
    """Work out the inbreeding that is due; returns how many figures were written."""
    return refresh_due()


@task
def work_out_population(run: int) -> None:
    """Work out the population figures of one run."""
    found = PopulationRun.objects.select_related("breed").filter(pk=run).first()
    if found:
        population.work_out(found)
