"""The mating planner: pairs with reasons, the best set for the whole herd, and the season's plan."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clubsite.htmx import go
from clubsite.members.sent_once import sent_once
from herds.models import Herd
from herds.words import count_words
from pedigrees import load
from pedigrees.actions import plans
from pedigrees.forms import PlannerForm
from pedigrees.models import PlannedMating
from pedigrees.planning.proposal import propose
from pedigrees.planning.reading import plan_of


@require_GET
def planner(request, slug):
    """Choose does and bucks; every pair with what to expect and why, or one set of matings for all the does."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    form = PlannerForm(request.GET if "doe" in request.GET or "buck" in request.GET else None, request.user, herd)
    context = {"herd": herd, "form": form}
    if form.is_valid():
        try:
            context |= shown(request.user, form.cleaned_data)
        except load.PedigreeProblem as problem:
            form.add_error(None, str(problem))
    context["open_plans"] = PlannedMating.objects.visible_to(request.user).filter(herd=herd).open().count()
    return render(request, "pedigrees/planner.html", context, status=422 if form.errors else 200)


def shown(member, given):
    """The plan of the chosen animals, and the proposal when one was asked for."""
    plan = plan_of(member, given["does"], given["bucks"])
    proposal = None
    if given["best"]:
        proposal = propose(plan, capacity=given["capacity"], limit=given["limit"] / 100, close=given["close"])
    return {"plan": plan, "proposal": proposal, "grid": len(plan.does) > 1 or len(plan.bucks) > 1}


@require_POST
@sent_once
def plan_add(request, slug):
    """Put the posted pairs (doe-buck keys) into the herd's plan."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    back = reverse("plan", args=[slug])
    form = PlannerForm(keys_of(request.POST.getlist("pair")), request.user, herd)
    if not form.is_valid():
        messages.error(request, "Choose at least one pair, of animals that still stand in the herds.")
        return go(request, back)
    wanted = {tuple(text.split("-")) for text in request.POST.getlist("pair")}
    try:
        plan = plan_of(request.user, form.cleaned_data["does"], form.cleaned_data["bucks"])
        pairs = [pair for row in plan.pairs for pair in row if (str(pair.doe.pk), str(pair.buck.pk)) in wanted]
        made = plans.plan_matings(pairs=pairs, by=request.user)
    except (load.PedigreeProblem, ValidationError) as error:
        messages.error(request, " ".join(error.messages) if isinstance(error, ValidationError) else str(error))
        return go(request, back)
    known = len(pairs) - len(made)
    text = f"{count_words(len(made), 'mating')} put into the plan."
    messages.success(request, text + (f" {known} stood there already." if known else ""))
    return go(request, back)


def keys_of(texts):
    """The planner's form data for pairs written 'doe-buck'."""
    halves = [text.split("-") for text in texts if text.count("-") == 1]
    return {"doe": [doe for doe, _ in halves], "buck": [buck for _, buck in halves]}


@require_GET
def plan(request, slug):
    """The season's plan of a herd: what is still to do, what is done, what was dropped."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    rows = PlannedMating.objects.visible_to(request.user).filter(herd=herd).with_done()
    rows = list(rows.select_related("doe", "buck__herd", "planned_by")[:300])
    context = {
        "herd": herd,
        "to_do": [row for row in rows if not row.is_done and row.dropped_at is None],
        "done": [row for row in rows if row.is_done and row.dropped_at is None],
        "dropped": [row for row in rows if row.dropped_at is not None],
        "today": timezone.localdate(),
    }
    return render(request, "pedigrees/plan.html", context)


@require_POST
def plan_note(request, pk):
    row = get_object_or_404(PlannedMating.objects.editable_by(request.user).select_related("herd"), pk=pk)
    try:
        plans.note_plan(plan=row, note=request.POST.get("note", ""), by=request.user)
        messages.success(request, "The note is saved.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, "plan", row.herd.slug)


@require_POST
def plan_drop(request, pk):
    row = get_object_or_404(
        PlannedMating.objects.editable_by(request.user).select_related("herd", "doe", "buck"), pk=pk
    )
    plans.drop_plan(plan=row, by=request.user)
    messages.success(request, f"{row} is out of the plan.", extra_tags=reverse("plan-restore", args=[row.pk]))
    return go(request, "plan", row.herd.slug)


@require_POST
def plan_restore(request, pk):
    row = get_object_or_404(
        PlannedMating.objects.editable_by(request.user).select_related("herd", "doe", "buck"), pk=pk
    )
    try:
        plans.restore_plan(plan=row, by=request.user)
        messages.success(request, f"{row} is in the plan again.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, "plan", row.herd.slug)
