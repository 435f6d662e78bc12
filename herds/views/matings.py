"""Pages of the mating log."""

from datetime import timedelta

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.members.models import Club
from clubsite.members.sent_once import sent_once
from herds.actions import matings as actions
from herds.forms.breeding import MatingEventForm, MatingForm, MatingUpdateForm
from herds.log_lists import mating_list_page
from herds.models import Animal, Mating, MatingEvent
from herds.relations import close_relation, with_grandparents


@require_GET
def mating_list(request):
    return mating_list_page(request)


@sent_once
@require_http_methods(["GET", "POST"])
def mating_create(request):
    form = MatingForm(request.POST or None, member=request.user, initial=_from_address(request))
    if form.is_valid():
        mating = form.carry_out(actions.record_mating, **form.given(), by=request.user, confirmed=form.confirmed)
        if mating:
            messages.success(request, f"{mating.doe} to {mating.buck} is in the log.")
            return redirect("mating-detail", mating.pk)
    return render(request, "herds/mating_form.html", {"form": form}, status=form.status)


def _from_address(request):
    """The doe or the buck that a link on another page named."""
    initial = {}
    for role in ("doe", "buck"):
        pk = request.GET.get(role, "")
        if pk.isdecimal():
            animal = Animal.objects.visible_to(request.user).filter(pk=pk).first()
            kept = animal and Animal.objects.kept_by(request.user).filter(pk=animal.pk).exists()
            if animal:
                initial["other_buck" if role == "buck" and not kept else role] = animal
    return initial


@require_GET
def mating_detail(request, pk):
    mating = get_object_or_404(_with_pair(Mating.objects.visible_to(request.user)), pk=pk)
    return _detail(request, mating, MatingEventForm() if _may_edit(request, mating) else None)


@sent_once
@require_POST
def mating_event(request, pk):
    mating = get_object_or_404(_with_pair(Mating.objects.editable_by(request.user)), pk=pk)
    form = MatingEventForm(request.POST)
    if form.is_valid():
        event = form.carry_out(actions.record_mating_event, mating=mating, by=request.user, **form.given())
        if event:
            messages.success(
                request, f"{mating.doe}: {event}.", extra_tags=reverse("mating-event-remove", args=[event.pk])
            )
            return redirect("mating-detail", mating.pk)
    return _detail(request, mating, form)


def _detail(request, mating, form):
    family = with_grandparents(mating.doe_id, mating.buck_id)
    club, litter = Club.current(), mating.litters.first()
    context = {
        "mating": mating,
        "events": mating.events.all(),
        "litter": litter,
        "form": form,
        "may_edit": form is not None,
        "open": litter is None and mating.ended_on is None,
        "days": (timezone.localdate() - mating.mated_on).days,
        "days_ahead": days_ahead(mating, club),
        "relation": close_relation(family[mating.doe_id], family[mating.buck_id]),
    }
    return render(request, "herds/mating_detail.html", context, status=form.status if form else 200)


def days_ahead(mating, club):
    """(what, first day, last day) of a mating's calendar, for the table on its page."""
    first, last = mating.mated_on, mating.last_day
    return [
        ("Palpate", last + timedelta(days=club.palpation_days), None),
        ("Nest box in", first + timedelta(days=club.nest_box_days), None),
        ("Kindling due", first + timedelta(days=club.due_days), last + timedelta(days=club.due_days)),
        ("Call a vet when there is no litter", last + timedelta(days=club.overdue_days), None),
    ]


@require_http_methods(["GET", "POST"])
def mating_update(request, pk):
    mating = get_object_or_404(_with_pair(Mating.objects.editable_by(request.user)), pk=pk)
    initial = {name: getattr(mating, name) for name in ("mated_on", "until", "note", "version")}
    form = MatingUpdateForm(request.POST or None, initial=initial)
    if form.is_valid() and form.carry_out(actions.update_mating, mating=mating, by=request.user, **form.cleaned_data):
        messages.success(request, f"The mating of {mating.doe} is changed.")
        return redirect("mating-detail", mating.pk)
    context = {"form": form, "mating": mating, "saved": form.stale and saved_values(form, Mating.objects.get(pk=pk))}
    return render(request, "herds/mating_update.html", context, status=form.status)


def saved_values(form, row):
    """(label, value) of the row as it is now, for a person whose page was older; saving again then counts."""
    form.data = form.data.copy()
    form.data["version"] = row.version
    return [(field.label, getattr(row, field.name)) for field in form.visible_fields()]


@require_http_methods(["GET", "POST"])
def mating_delete(request, pk):
    mating = get_object_or_404(_with_pair(Mating.objects.editable_by(request.user)), pk=pk)
    context = {
        "title": f"Remove the mating of {mating.doe}?",
        "text": f"{mating} goes out of the log with everything noted for it. This cannot be undone. "
        "If it took place and no litter came, give it up instead.",
        "confirm_label": "Remove it",
        "cancel_url": reverse("mating-detail", args=[pk]),
        "danger": True,
    }
    if request.method == "POST":
        try:
            actions.remove_mating(mating=mating, by=request.user)
        except ValidationError as error:
            return render(request, "confirm.html", context | {"caution": error.messages[0]}, status=422)
        messages.success(request, f"The mating of {mating.doe} is removed.")
        return redirect("mating-list")
    return render(request, "confirm.html", context)


@require_POST
def mating_end(request, pk):
    mating = get_object_or_404(Mating.objects.editable_by(request.user), pk=pk)
    return _said(request, mating, actions.end_mating, "given up", undo=reverse("mating-reopen", args=[pk]))


@require_POST
def mating_reopen(request, pk):
    mating = get_object_or_404(Mating.objects.editable_by(request.user), pk=pk)
    return _said(request, mating, actions.reopen_mating, "open again")


@require_POST
def mating_event_remove(request, pk):
    event = get_object_or_404(MatingEvent.objects.editable_by(request.user).select_related("mating__doe"), pk=pk)
    event.delete()
    messages.success(request, f"{event.mating.doe}: “{event}” is taken back.")
    return redirect("mating-detail", event.mating_id)


def _said(request, mating, action, word, undo=""):
    try:
        action(mating=mating, by=request.user)
        messages.success(request, f"The mating of {mating.doe} is {word}.", extra_tags=undo)
    except ValidationError as error:
        messages.error(request, error.messages[0])
    return redirect("mating-detail", mating.pk)


def _with_pair(matings):
    return matings.select_related("doe", "buck", "herd")


def _may_edit(request, mating):
    return Mating.objects.editable_by(request.user).filter(pk=mating.pk).exists()


def open_mating_of(member, text):
    """The mating that a link named, which the member may log a litter for; 404 when there is none."""
    if not text:
        return None
    found = _with_pair(Mating.objects.editable_by(member)).filter(pk=text).first() if text.isdecimal() else None
    if found is None:
        raise Http404
    return found
