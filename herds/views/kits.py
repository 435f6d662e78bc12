"""Pages of kits: white at birth, sex and losses for a whole litter at once; fostering; tattoo day."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clubsite.htmx import wants_part
from clubsite.members.models import Club
from clubsite.members.sent_once import sent_once
from herds.actions import kits as actions
from herds.forms.breeding import FosterForm, TattooForm, TattooRowForm
from herds.models import Herd, Kit, Litter, Sex, WhitePlace
from herds.words import count_words, listed

SHEETS = {"white": "White at birth", "sex": "Sex", "losses": "Losses"}
AT_HAND = 2  # none seen, head: the two answers that most kits get; the other places unfold
SEXES = [(Sex.BUCK, "Buck"), (Sex.DOE, "Doe"), (Sex.UNKNOWN, "Not sure")]


def _litter(request, pk):
    litters = Litter.objects.editable_by(request.user).select_related("dam__breed", "sire", "herd")
    return get_object_or_404(litters, pk=pk)


@require_http_methods(["GET", "POST"])
def kit_list(request, pk, sheet):
    """One question about every kit of a litter: answered by touch, or with the button when there is no script."""
    if sheet not in SHEETS:
        raise Http404
    litter = _litter(request, pk)
    kits = list(litter.kits.select_related("animal", "litter__dam"))
    if sheet != "white":
        kits = [kit for kit in kits if kit.animal_id is None]
    refused = {}
    if request.method == "POST":
        refused = actions.answer_sheet(
            answers=[(kit, answer_of(request.POST, kit, sheet)) for kit in kits], sheet=sheet, by=request.user
        )
        if not refused:
            messages.success(request, f"{SHEETS[sheet]} of the litter of {litter.dam} is saved.")
            return redirect(litter)
    rows = [sheet_row(kit, sheet, request.POST if refused else None, refused.get(kit.number, "")) for kit in kits]
    context = {"litter": litter, "rows": rows, "sheet": sheet, "sheets": SHEETS.items(), "title": SHEETS[sheet]}
    context["age"] = (timezone.localdate() - litter.born_on).days
    return render(request, "herds/kit_list.html", context, status=422 if refused else 200)


@require_POST
def kit_save(request, pk, sheet):
    """One kit's answer, saved as it is touched; answers with the same row."""
    kits = Kit.objects.editable_by(request.user).select_related("animal", "litter__dam")
    kit = get_object_or_404(kits, pk=pk)
    if sheet not in SHEETS:
        raise Http404
    answer = answer_of(request.POST, kit, sheet)
    if sheet == "white":
        answer = actions.settle_white(kit.white_at, answer)
    refused = actions.answer_sheet(answers=[(kit, answer)], sheet=sheet, by=request.user)
    if not wants_part(request):
        return redirect("kit-list", kit.litter_id, sheet)
    row = sheet_row(kit, sheet, request.POST if refused else None, refused.get(kit.number, ""))
    context = {"row": row | {"saved": not refused}, "sheet": sheet}
    return render(request, "herds/kit_list.html#row", context, status=422 if refused else 200)


@require_POST
def kit_none_seen(request, pk):
    """'None seen' for every kit that nobody has looked at yet."""
    litter = _litter(request, pk)
    kits = actions.record_none_seen(litter=litter, by=request.user)
    messages.success(request, f"None seen: {count_words(len(kits), 'kit')} logged.")
    return redirect("kit-list", litter.pk, "white")


def answer_of(data, kit, sheet):
    """What was answered about one kit on a sheet: places, a sex, or a day ('' for alive)."""
    if sheet == "white":
        return data.getlist(f"white-{kit.pk}")
    return data.get(f"{sheet}-{kit.pk}", "")


def sheet_row(kit, sheet, data=None, error=""):
    """What kit_list.html draws for one kit: the saved answer, or what was typed and why it was refused."""
    typed = answer_of(data, kit, sheet) if data is not None else None
    row = {"kit": kit, "error": error, "url": reverse("kit-save", args=[kit.pk, sheet])}
    if sheet == "white":
        chosen = kit.white_at if typed is None else typed
        places = [(value, label, value in chosen) for value, label in WhitePlace.choices]
        row["options"], row["others"] = places[:AT_HAND], places[AT_HAND:]
        row["others_open"] = any(ticked for _, _, ticked in row["others"])
    elif sheet == "sex":
        chosen = kit.sex if typed is None else typed
        row["options"] = [(value, label, value == chosen) for value, label in SEXES]
    else:
        row["died_on"] = (kit.died_on.isoformat() if kit.died_on else "") if typed is None else typed
        row["today"] = timezone.localdate().isoformat()
    return row


@sent_once
@require_http_methods(["GET", "POST"])
def kit_foster(request, pk):
    litter = _litter(request, pk)
    kits = list(litter.kits.filter(died_on__isnull=True, animal__isnull=True, fostered_to__isnull=True))
    herds = Herd.objects.kept_by(request.user)
    form = FosterForm(request.POST or None, kits=kits, litter=litter, herds=herds)
    if form.is_valid():
        moved = form.carry_out(actions.foster_kits, by=request.user, confirmed=form.confirmed, **form.given())
        if moved:
            names = listed([f"kit {kit.number}" for kit in moved])
            messages.success(request, f"Fostered to {form.cleaned_data['to'].dam}: {names}.")
            return redirect(litter)
    days = Club.current().fostering_days
    context = {"form": form, "litter": litter, "kits": kits, "nests": form.nests, "days": days}
    return render(request, "herds/kit_foster.html", context, status=form.status)


@require_POST
def kit_bring_back(request, pk):
    kit = get_object_or_404(Kit.objects.editable_by(request.user).select_related("litter__dam"), pk=pk)
    actions.bring_back(kit=kit, by=request.user)
    messages.success(request, f"Kit {kit.number} is back with {kit.litter.dam}.")
    return redirect(kit.litter)


@sent_once
@require_http_methods(["GET", "POST"])
def kit_mark(request, pk):
    """Tattoo day: marks in a row are proposed; all rows are saved, or none."""
    litter = _litter(request, pk)
    kits = list(litter.kits.filter(animal__isnull=True, died_on__isnull=True).select_related("litter__dam"))
    start = request.GET.get("start", "").strip()[:40]
    form, rows = TattooForm(request.POST or None), _tattoo_rows(request, litter, kits, start)
    if form.is_valid() and all(row.is_valid() for row in rows):
        given = [row.given() for row in rows]
        marked = _mark(form, rows, litter, [row for row in given if row["mark"]], request.user)
        if marked:
            messages.success(request, f"Marked: {listed(marked)}.")
            return redirect(litter)
    refused = form.refused or any(row.is_bound and row.errors for row in rows)
    context = {
        "form": form,
        "rows": rows,
        "litter": litter,
        "start": start or (rows[0]["mark"].value() if rows else ""),
    }
    return render(request, "herds/kit_mark.html", context, status=422 if refused else 200)


def _tattoo_rows(request, litter, kits, start):
    if request.method == "POST":
        return [TattooRowForm(request.POST, kit=kit) for kit in kits]
    marks = actions.next_marks(litter.herd, len(kits), start)
    return [
        TattooRowForm(kit=kit, initial={"mark": mark, "sex": kit.sex}) for kit, mark in zip(kits, marks, strict=True)
    ]


def _mark(form, rows, litter, given, member):
    """The animals made, or None with each refusal by its row."""
    try:
        return actions.mark_kits(litter=litter, rows=given, on=form.cleaned_data["on"], by=member)
    except ValidationError as error:
        said = error.message_dict if hasattr(error, "error_dict") else {None: error.messages}
        for row in rows:
            for text in said.pop(str(row.kit.number), []):
                row.add_error("mark", text)
        for field, texts in said.items():
            form.add_error(field if field in form.fields else None, texts)
    return None
