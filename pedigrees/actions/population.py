"""Asks for a breed's population figures and works them out."""

import logging
from datetime import timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone

from herds.models import Breed
from pedigrees.load import PedigreeProblem
from pedigrees.models import PopulationRun
from pedigrees.population import figures_of

log = logging.getLogger(__name__)

GIVEN_UP_AFTER = timedelta(hours=2)
KEPT = 30
NOT_FINISHED = "It was begun but never finished, since the job was lost. Start it again."
FAILED = "Something went wrong while it was worked out; whoever runs the site finds the reason in the log."


def ask_for_figures(*, breed, by=None):
    """The run that is waiting or at work, or a new one whose job is queued when this transaction is committed."""
    from pedigrees.tasks import work_out_population

    now = timezone.now()
    unfinished = PopulationRun.objects.filter(breed=breed, finished_at__isnull=True)
    unfinished.filter(asked_at__lt=now - GIVEN_UP_AFTER).update(finished_at=now, problem=NOT_FINISHED)
    if waiting := unfinished.first():
        return waiting
    try:
        with transaction.atomic():
            run = PopulationRun.objects.create(breed=breed, asked_by=by)
    except IntegrityError:  # somebody else asked in the same moment
        return unfinished.first() or PopulationRun.objects.filter(breed=breed).first()
    transaction.on_commit(lambda: work_out_population.enqueue(run=run.pk))
    return run


def work_out(run):
    """Fill a run with its figures, or with the sentence that says why there are none; a finished one stays as it is."""
    if run.finished_at:
        return run
    try:
        run.figures = figures_of(run.breed)
    except PedigreeProblem as problem:
        run.problem = str(problem)
    except Exception:
        run.finished_at, run.problem = timezone.now(), FAILED
        run.save(update_fields=["finished_at", "problem"])
        raise
    run.finished_at = timezone.now()
    run.save(update_fields=["finished_at", "figures", "problem"])
    old = PopulationRun.objects.filter(breed=run.breed).order_by("-asked_at", "-pk").values_list("pk", flat=True)[KEPT:]
    PopulationRun.objects.filter(pk__in=list(old)).delete()
    return run


def work_out_all():
    """For the night: every breed that has animals; a breed that is being worked out already is left to that job."""
    done = 0
    for breed in Breed.objects.filter(animals__isnull=False).distinct():
        if not PopulationRun.objects.filter(breed=breed, finished_at__isnull=True).exists():
            work_out(PopulationRun.objects.create(breed=breed))
            done += 1
    return f"Population figures of {done} breeds."
