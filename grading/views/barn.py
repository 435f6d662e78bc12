"""The page of a whole herd for its mentor and its owners, and the season's plan on it."""

from functools import partial

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.forms import posted
from clubsite.members.sent_once import sent_once
from grading.actions import season as actions
from grading.actions.season_news import mark_seen
from grading.barn import plan, reading
from grading.forms.season import SeasonAnswerForm, SeasonItemForm
from grading.models import SeasonItem
from herds.models import Grant, Herd

ANSWERS = {"accept": actions.accept_item, "decline": actions.decline_item}


def plan_url(herd):
    return f"{reverse('barn', args=[herd.slug])}#plan"


def closed(request, herd):
    """The grant is over: nothing of the herd is shown, and what the mentor typed is given back to them."""
    typed = [text for name in ("why",) if (text := request.POST.get(name, "").strip())]
    if not typed or not Grant.objects.filter(herd=herd, mentor=request.user.pk).exists():
        raise Http404
    context = {"sentence": actions.CLOSED, "typed": typed}
    return render(request, "grading/barn_closed.html", context, status=409)


@require_safe
def barn(request, slug):
    """What most animals of a herd share, how close they are bred, and the season's plan."""
    door = reading.door_of(request.user, slug)
    if door is None:
        raise Http404
    breeds = reading.breeds_of(door.herd)
    asked = request.GET.get("breed")
    breed = next((each for each in breeds if each.slug == asked), breeds[0] if breeds else None)
    context = {"herd": door.herd, "door": door, "breeds": breeds, "plan": plan.plan_of(request.user, door.herd)}
    if breed:
        context |= reading.page_of(request.user, door, breed)
    mark_seen(member=request.user, herd=door.herd)
    return render(request, "grading/barn.html", context)


@require_safe
def season_detail(request, pk):
    """Where letters lead: to the item on its herd's page, under an address that names no herd."""
    item = get_object_or_404(SeasonItem.objects.visible_to(request.user).select_related("herd"), pk=pk)
    return redirect(f"{reverse('barn', args=[item.herd.slug])}#item-{item.pk}")


@require_http_methods(["GET", "POST"])
@sent_once
def season_create(request, slug):
    """The mentor proposes one thing; ?animal= chooses one to begin with."""
    herd = get_object_or_404(Herd.objects.visible_to(request.user), slug=slug)
    if not Herd.objects.granted_to(request.user).filter(pk=herd.pk).exists():
        return closed(request, herd)
    form = SeasonItemForm(posted(request), herd=herd, initial={"animal": request.GET.get("animal")})
    return _written(request, herd, form, partial(actions.propose, herd=herd), "Proposed: {}.")


@require_http_methods(["GET", "POST"])
@sent_once
def season_update(request, pk):
    """The mentor edits what they proposed, until it is answered."""
    item = get_object_or_404(_own(request), pk=pk)
    if not Herd.objects.granted_to(request.user).filter(pk=item.herd_id).exists():
        return closed(request, item.herd)
    initial = {name: getattr(item, name) for name in (*actions.FIELDS, "version")}
    form = SeasonItemForm(posted(request), herd=item.herd, initial=initial)
    version = form.cleaned_data["version"] if form.is_valid() else None
    change = partial(actions.change_item, item=item, version=version)
    return _written(request, item.herd, form, change, "Saved: {}.", item)


def _own(request):
    return SeasonItem.objects.filter(written_by=request.user.pk).select_related("herd", "animal", "buck")


def _written(request, herd, form, action, said, item=None):
    """Carry the form out; it is shown again with what was typed where it was refused."""
    if form.is_valid():
        try:
            done = form.carry_out(action, by=request.user, **form.given())
        except actions.HerdClosed:
            return closed(request, herd)
        if done:
            messages.success(request, said.format(done))
            return redirect(plan_url(herd))
        if item:
            item.refresh_from_db()
    context = {"form": form, "herd": herd, "item": item}
    return render(request, "grading/season_form.html", context, status=form.status)


@require_POST
def season_withdraw(request, pk):
    """The mentor takes a proposal back."""
    item = get_object_or_404(_own(request).filter(pk__in=SeasonItem.objects.visible_to(request.user)), pk=pk)
    try:
        actions.withdraw_item(item=item, by=request.user)
        messages.success(request, f"Taken back: {item}.")
    except actions.HerdClosed as over:
        raise Http404 from over
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return redirect(plan_url(item.herd))


@require_http_methods(["GET", "POST"])
def season_answer(request, pk):
    """An owner accepts or declines one item; `do` says which."""
    kept = SeasonItem.objects.filter(herd__in=Herd.objects.kept_by(request.user))
    item = get_object_or_404(kept.select_related("herd", "animal", "buck", "written_by"), pk=pk)
    form = SeasonAnswerForm(posted(request), initial={"version": item.version})
    action = ANSWERS.get(request.POST.get("do", ""))
    if request.method == "POST" and action and form.is_valid():
        given = {**form.cleaned_data, "item": item, "by": request.user}
        if action is actions.accept_item:
            given["confirmed"] = form.confirmed
        if done := form.carry_out(action, **given):
            messages.success(request, f"{done.get_state_display().capitalize()}: {done}.")
            return redirect(plan_url(item.herd))
        item.refresh_from_db()
    context = {"form": form, "item": item, "herd": item.herd, "do": request.POST.get("do")}
    status = 422 if request.method == "POST" and not action else form.status
    return render(request, "grading/season_answer.html", context, status=status)
