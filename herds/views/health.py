"""Health notes of an animal or a litter, and what runs in a herd now."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import F
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.forms import posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.actions import health as actions
from herds.forms.care import HealthCorrectionForm, HealthForm
from herds.models import PRESENT, Animal, HealthNote, Herd, Litter, Quarantine

A_PAGE = 30


@require_http_methods(["GET", "POST"])
@sent_once
def health_create(request, pk):
    """A note about an animal."""
    animal = get_object_or_404(Animal.objects.editable_by(request.user).select_related("herd"), pk=pk)
    return _new_note(request, {"animal": animal}, str(animal), animal.get_absolute_url())


@require_http_methods(["GET", "POST"])
@sent_once
def litter_health_create(request, pk):
    """A note about a whole litter."""
    litter = get_object_or_404(Litter.objects.editable_by(request.user).select_related("herd", "dam"), pk=pk)
    return _new_note(request, {"litter": litter}, f"Litter of {litter.dam}", litter.get_absolute_url())


def _new_note(request, about, subject, back):
    form = HealthForm(posted(request))
    if form.is_valid():
        note = form.carry_out(actions.write_note, by=request.user, **about, **form.cleaned_data)
        if note:
            messages.success(request, f"{subject}: the note is saved.")
            return go(request, note.get_absolute_url())
    context = {"form": form, "subject": subject, "back": back}
    return page_or_part(request, "herds/health_form.html", "form", context, status=form.status)


@require_http_methods(["GET", "POST"])
@sent_once
def health_correct(request, pk):
    """The note once more, as it should have been; what was written before stays below it."""
    note = get_object_or_404(_with_subject(HealthNote.objects.editable_by(request.user)), pk=pk)
    form = HealthCorrectionForm(posted(request), note=note)
    if form.is_valid():
        new = form.carry_out(actions.correct_note, note=note, by=request.user, **form.cleaned_data)
        if new:
            messages.success(request, "The correction is saved. The earlier words stay readable below it.")
            return go(request, new.get_absolute_url())
    context = {"form": form, "subject": note.subject, "back": note.get_absolute_url(), "note": note}
    return page_or_part(request, "herds/health_form.html", "form", context, status=form.status)


@require_POST
def health_end(request, pk):
    """The trouble is over today; pressed twice it is ended once."""
    note = _own_note(request, pk)
    try:
        actions.end_note(note=note, by=request.user)
        undo = reverse("health-reopen", args=[note.pk])
        messages.success(request, f"{_capital(note.subject)}: over since today.", extra_tags=undo)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, note.get_absolute_url())


@require_POST
def health_reopen(request, pk):
    note = _own_note(request, pk)
    actions.reopen_note(note=note, by=request.user)
    messages.success(request, f"{_capital(note.subject)}: not over after all.")
    return go(request, note.get_absolute_url())


@require_GET
def herd_health(request, slug):
    """What runs in a herd now, and all its health notes: for its owners, and for a mentor whose grant says so."""
    herd = get_object_or_404(Herd.objects.visible_to(request.user).filter(pk__in=_open_herds(request.user)), slug=slug)
    today = timezone.localdate()
    notes = HealthNote.objects.visible_to(request.user).filter(herd=herd)
    standing = _with_subject(notes.standing())
    kept = Herd.objects.kept_by(request.user).filter(pk=herd.pk).exists()
    context = {
        "herd": herd,
        "kept": kept,
        "today": today,
        "withdrawals": standing.withdrawing(today).of_stock_here().order_by("withdrawal_until", "no_show_until"),
        "open_notes": actions.open_notes(herd),
        "quarantines": _quarantines(herd) if kept else [],
        "page": Paginator(standing, A_PAGE).get_page(request.GET.get("page")),
    }
    return page_or_part(request, "herds/herd_health.html", "notes", context)


def _open_herds(member):
    """Herds whose health notes the member may read: their own, and those that a grant opens that far."""
    granted = Herd.objects.granted_to(member).filter(
        grants__mentor=member.pk, grants__with_health=True, grants__revoked_at__isnull=True
    )
    return {*Herd.objects.kept_by(member).values_list("pk", flat=True), *granted.values_list("pk", flat=True)}


def _quarantines(herd):
    open_ones = Quarantine.objects.filter(herd=herd, ended_on__isnull=True, animal__herd=F("herd"))
    return open_ones.filter(animal__status__in=PRESENT).select_related("animal").order_by("planned_until")


def _own_note(request, pk):
    return get_object_or_404(_with_subject(HealthNote.objects.editable_by(request.user)), pk=pk)


def _with_subject(notes):
    return notes.select_related("animal", "litter__dam", "herd")


def _capital(words):
    return words[:1].upper() + words[1:]
