"""Writes of evaluation runs: asking for one, stopping it, and carrying it out."""

import time

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clubsite import locks
from clubsite.constraints import rules_explained
from grading.evaluation import EvaluationError
from grading.models import EvaluationRun, Look, RunState, Trait
from grading.running import graders, reading, storing, work
from herds.models import Breed
from herds.words import count_words
from pedigrees.load import PedigreeProblem

PROGRESS_SECONDS = 0.5
ABANDONED = "Its worker or the whole machine was stopped in the middle of it. Nothing of it was kept. Run it again."
ROUNDS_USUAL = 12  # a trait's share of the bar is filled round by round, as if it took so many


class Stopped(Exception):
    """An officer asked the run to stop."""


def ask_for_run(*, breed, by, only=None):
    """A run that waits its turn; refused while another of the breed is under way. `by` is None at night."""
    end_abandoned(breed)
    with rules_explained(), transaction.atomic():
        run = EvaluationRun.objects.create(breed=breed, asked_by=by, only=only, method=work.METHOD)
        transaction.on_commit(lambda: _enqueue(run.pk))
        return run


def run_here(*, breed, only=None):
    """A run carried out by this very process, as the command does; no worker hears of it."""
    end_abandoned(breed)
    with rules_explained():
        run = EvaluationRun.objects.create(breed=breed, only=only, method=work.METHOD)
    return carry_out(run=run)


def _enqueue(pk):
    from grading.tasks import evaluate

    evaluate.enqueue(run=pk)


def ask_to_stop(*, run, by):
    """Stop a run: at once while it waits, after the round it is in while it runs."""
    now = timezone.now()
    waiting = EvaluationRun.objects.filter(pk=run.pk, state=RunState.QUEUED)
    if waiting.update(state=RunState.STOPPED, ended_at=now, at_work="") or _ended_if_abandoned(run, RunState.STOPPED):
        return
    if not EvaluationRun.objects.filter(pk=run.pk, state=RunState.RUNNING).update(stop_asked=True):
        raise ValidationError("This run is over already.")


def end_abandoned(breed):
    """Close what stands as running and is not: who was at it was killed, since a process at work holds the run's lock.

    A worker that starts again does such a run from its beginning (grading/tasks.py), unless this came first.
    """
    for run in EvaluationRun.objects.filter(breed=breed, state=RunState.RUNNING):
        _ended_if_abandoned(run, RunState.FAILED, ABANDONED)


def _ended_if_abandoned(run, state, problem=""):
    with locks.alone(locks.EVALUATIONS, run.pk) as nobody_at_it:
        if not (nobody_at_it and EvaluationRun.objects.filter(pk=run.pk, state=RunState.RUNNING).exists()):
            return False
        _end(run, state, problem)
        return True


def run_all_changed():
    """For the night: one run for each breed whose looks, parents, or model changed since the last good run."""
    asked = []
    for breed in Breed.objects.filter(pk__in=Look.objects.current().values("animal__breed")):
        end_abandoned(breed)
        if EvaluationRun.objects.filter(breed=breed).open().exists():
            continue
        last = EvaluationRun.objects.filter(breed=breed, state=RunState.DONE, only=None).order_by("-ended_at").first()
        if last is None or last.method != work.METHOD or last.inputs != _inputs_now(breed):
            asked.append(ask_for_run(breed=breed, by=None))
    return f"{count_words(len(asked), 'evaluation')} asked for"


def _inputs_now(breed):
    try:
        looks, values, _ = _read(breed, None)
    except (PedigreeProblem, EvaluationError):
        return ""
    return reading.digest(looks, values)


def _read(breed, only):
    looks = reading.read_looks(breed.pk)
    traits = [only] if only else list(Trait.objects.filter(answers__look__animal__breed=breed).distinct())
    values = {trait.pk: reading.read_steps(looks, breed.pk, trait.pk) for trait in traits}
    right, said = graders.put_right(looks, values, graders.current_results(breed.pk))
    return looks, right, said


def carry_out(*, run):
    """Do a run that waits; whatever its looks are like, it ends done, stopped, or failed with a sentence.

    Of two processes at one run the second leaves it to the first.
    """
    with locks.alone(locks.EVALUATIONS, run.pk) as alone:
        return _carry_out(run) if alone else run


def _carry_out(run):
    now = timezone.now()
    begun = EvaluationRun.objects.filter(pk=run.pk, state__in=[RunState.QUEUED, RunState.RUNNING])
    if not begun.update(state=RunState.RUNNING, began_at=now, done_share=0, at_work="Reading the looks"):
        return run
    try:
        _do(run)
    except Stopped:
        _end(run, RunState.STOPPED)
    except (PedigreeProblem, EvaluationError) as refusal:
        _end(run, RunState.FAILED, problem=str(refusal))
    except MemoryError:
        _end(
            run, RunState.FAILED, problem="The machine has too little memory for so many looks. Ask your host for more."
        )
    except Exception as error:
        _end(run, RunState.FAILED, problem=f"Something unforeseen went wrong ({type(error).__name__}). Tell your host.")
        raise
    run.refresh_from_db()
    return run


def _do(run):
    looks, values, put_right = _read(run.breed, run.only)
    calibrated = graders.current_results(run.breed_id)
    if not len(looks):
        raise EvaluationError(f"No look of {run.breed} is finished yet, so there is nothing to evaluate.")
    traits = {trait.pk: trait for trait in Trait.objects.filter(pk__in=values)}
    leading = {trait.summary: pk for pk, trait in traits.items() if trait.summary in ("surface", "undercolor")}
    order = sorted(values, key=lambda pk: (not traits[pk].summary, traits[pk].section, traits[pk].position))
    progress = Progress(run, len(order) + (len(leading) == 2))
    found = {}
    for pk in order:
        progress.part(traits[pk].name)
        found[pk] = work.evaluate_trait(looks, values[pk], leading=bool(traits[pk].summary), progress=progress.round)
        if found[pk].kept:
            leans = found[pk].kept["trend"].get("leans", {})
            off = graders.disagreements(leans, pk, calibrated)
            found[pk].kept["connections"]["off"] = off
            said = (put_right.get(pk, ""), graders.off_words(off))
            found[pk].kept["warnings"] += [each for each in said if each]
    together: dict = {}
    if len(leading) == 2:
        progress.part("Surface shade and undercolor together")
        together, _ = work.evaluate_together(
            looks, values[leading["surface"]], values[leading["undercolor"]], progress.round
        )
    progress.part("Keeping what was found")
    counts = {
        "animals": int(looks.of_breed.sum()),
        "looks": len(looks),
        "graders": len(set(looks.observer.tolist())),
        "herds": len(set(looks.herd[looks.herd >= 0].tolist())),
        "years": len(set(looks.born[looks.animal].tolist()) - {-1}),
    }
    refused = [traits[pk].name for pk in order if found[pk].refused]
    warnings = (
        [f"{count_words(len(refused), 'trait')} could not be estimated: {', '.join(refused)}."] if refused else []
    )
    if len(refused) == len(order):
        raise EvaluationError(f"No trait could be estimated. {found[order[0]].refused if order else ''}".strip())
    with transaction.atomic():
        storing.keep(run, looks, found, together)
        EvaluationRun.objects.filter(pk=run.pk).update(
            counts=counts, warnings=warnings, inputs=reading.digest(looks, values) if run.only is None else ""
        )
        _end(run, RunState.DONE)


def _end(run, state, problem=""):
    share = {"done_share": 1} if state == RunState.DONE else {}
    EvaluationRun.objects.filter(pk=run.pk).update(
        state=state, ended_at=timezone.now(), problem=problem, at_work="", **share
    )


class Progress:
    """Tells the page how far a run is, and raises Stopped when its officer pressed stop."""

    def __init__(self, run, parts):
        self.run, self.parts, self.at, self.told = run, max(parts, 1), -1, 0.0

    def part(self, name):
        self.at += 1
        self._tell(self.at / self.parts, name[:120])

    def round(self, number, _covariances):
        if time.monotonic() - self.told >= PROGRESS_SECONDS:
            self._tell((self.at + min(number / ROUNDS_USUAL, 0.95)) / self.parts)

    def _tell(self, share, name=None):
        self.told = time.monotonic()
        rows = EvaluationRun.objects.filter(pk=self.run.pk)
        rows.update(done_share=min(share, 1.0), **({"at_work": name} if name else {}))
        if rows.filter(stop_asked=True).exists():
            raise Stopped
