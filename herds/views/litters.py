"""Pages of kindlings and litters."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.members.models import Club
from clubsite.members.sent_once import sent_once
from herds.actions import litters as actions
from herds.forms.breeding import LitterEventForm, LitterForm, LitterUpdateForm
from herds.growth import litter_weighings
from herds.log_lists import litter_list_page
from herds.models import Animal, Kit, Litter, LitterEvent, Weight
from herds.own_panels import health_values
from herds.words import count_words

from .matings import open_mating_of, saved_values


@require_GET
def litter_list(request):
    return litter_list_page(request)


@sent_once
@require_http_methods(["GET", "POST"])
def litter_create(request):
    mating = open_mating_of(request.user, request.GET.get("mating", ""))
    if mating and (made := mating.litters.first()):
        return redirect(made)
    form = LitterForm(request.POST or None, member=request.user, mating=mating, initial=_from_address(request))
    if form.is_valid():
        litter = form.carry_out(actions.record_litter, by=request.user, **form.given())
        if litter:
            alive = count_words(litter.born_alive, "kit")
            messages.success(request, f"{litter.dam} kindled: {alive} alive, {litter.born_dead} dead.")
            return redirect(litter)
    context = {"form": form, "mating": mating, "today": timezone.localdate()}
    return render(request, "herds/litter_form.html", context, status=form.status)


def _from_address(request):
    pk = request.GET.get("dam", "")
    dam = Animal.objects.kept_by(request.user).filter(pk=pk).first() if pk.isdecimal() else None
    return {"dam": dam} if dam else {}


@require_GET
def litter_detail(request, pk):
    litter = get_object_or_404(_with_parents(Litter.objects.visible_to(request.user)), pk=pk)
    kits = list(_all_kits(litter))
    own = [kit for kit in kits if kit.litter_id == litter.pk]
    events = list(litter.events.all())
    raised = [kit for kit in kits if kit.rearing_litter == litter and kit.died_on is None]
    may_weigh = Weight.objects.visible_to(request.user)
    context = {
        "litter": litter,
        "own": own,
        "fostered_in": [kit for kit in kits if kit.litter_id != litter.pk],
        "raised": len(raised),
        "unmarked": [kit for kit in own if kit.animal_id is None and kit.died_on is None],
        "unseen": [kit for kit in own if not kit.white_at and kit.died_on is None],
        "events": events,
        "done": {event.kind for event in events},
        "weighings": litter_weighings(litter, may_weigh),
        "late": actions.late_birth_words(litter),
        "litter_has_animals": any(kit.animal and kit.animal.is_here for kit in own),
        "may_edit": Litter.objects.editable_by(request.user).filter(pk=pk).exists(),
        "club_days": Club.current(),
        "health": health_values(litter.health_notes.visible_to(request.user), request.user).get("rows"),
    }
    return render(request, "herds/litter_detail.html", context)


def _all_kits(litter):
    """The litter's own kits by number, then those fostered into its nest."""
    kits = (Kit.objects.filter(litter=litter) | Kit.objects.filter(fostered_to=litter)).distinct()
    kits = kits.select_related("animal", "litter__dam", "litter__sire", "fostered_to__dam")
    return sorted(kits, key=lambda kit: (kit.litter_id != litter.pk, kit.litter_id, kit.number))


@require_http_methods(["GET", "POST"])
def litter_update(request, pk):
    litter = get_object_or_404(_with_parents(Litter.objects.editable_by(request.user)), pk=pk)
    names = ("born_on", "born_alive", "born_dead", "note", "version")
    form = LitterUpdateForm(request.POST or None, initial={name: getattr(litter, name) for name in names})
    if form.is_valid() and form.carry_out(actions.update_litter, litter=litter, by=request.user, **form.cleaned_data):
        messages.success(request, f"The litter of {litter.dam} is changed.")
        return redirect(litter)
    context = {"form": form, "litter": litter, "saved": form.stale and saved_values(form, Litter.objects.get(pk=pk))}
    return render(request, "herds/litter_update.html", context, status=form.status)


@require_http_methods(["GET", "POST"])
def litter_delete(request, pk):
    litter = get_object_or_404(_with_parents(Litter.objects.editable_by(request.user)), pk=pk)
    context = {
        "title": f"Remove the litter of {litter.dam}?",
        "text": "The kindling, its kits, weights and everything noted for it go out of the log. This cannot be undone.",
        "confirm_label": "Remove it",
        "cancel_url": litter.get_absolute_url(),
        "danger": True,
    }
    if request.method == "POST":
        try:
            actions.remove_litter(litter=litter, by=request.user)
        except ValidationError as error:
            return render(request, "confirm.html", context | {"caution": error.messages[0]}, status=422)
        messages.success(request, f"The litter of {litter.dam} is removed.")
        return redirect("litter-list")
    return render(request, "confirm.html", context)


@sent_once
@require_http_methods(["GET", "POST"])
def litter_event(request, pk):
    litter = get_object_or_404(_with_parents(Litter.objects.editable_by(request.user)), pk=pk)
    kits = actions.kits_in_nest(litter)
    kind = request.GET.get("kind", LitterEvent.Kind.NEST_CHECK)
    form = LitterEventForm(request.POST or None, kits=kits, litter=litter, initial={"kind": kind})
    if form.is_valid():
        given = form.given()
        event = form.carry_out(
            actions.record_litter_event, litter=litter, by=request.user, confirmed=form.confirmed, **given
        )
        if event:
            messages.success(request, f"Litter of {litter.dam}: {event.get_kind_display()}, {event.alive} alive.")
            return redirect(litter)
    context = {"form": form, "litter": litter, "living": len(kits)}
    return render(request, "herds/litter_event.html", context, status=form.status)


@require_POST
def litter_event_remove(request, pk):
    """Take an event back; kits logged as dead with it stay dead until that is taken back at the kit."""
    event = get_object_or_404(LitterEvent.objects.editable_by(request.user).select_related("litter__dam"), pk=pk)
    event.delete()
    dead = f" {count_words(event.dead, 'kit')} logged as dead with it stay so; see Losses." if event.dead else ""
    messages.success(request, f"Litter of {event.litter.dam}: “{event}” is taken back.{dead}")
    return redirect(event.litter)


def _with_parents(litters):
    return litters.select_related("dam__breed", "sire", "herd", "mating__doe", "mating__buck")
