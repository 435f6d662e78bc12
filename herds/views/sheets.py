"""Pages of sheets: bring one in, say what its columns mean, look at every row, agree, take it back."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.forms import carried_out, posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.actions.sheets import agree, answer, bring_sheet, choose_columns, drop, forget_file
from herds.actions.undo_sheet import undo
from herds.finding import one_space
from herds.forms.sheets import AnswersForm, ColumnsForm, RowFilter, SheetForm
from herds.models import BatchState, ImportBatch, ImportRow, RowOutcome
from herds.words import count_words

A_PAGE = 50
WORKING = (BatchState.READING, BatchState.WRITING, BatchState.UNDOING)


@require_GET
def sheet_list(request):
    """The sheets that the member brought in, and those of their herds."""
    rows = ImportBatch.objects.visible_to(request.user).select_related("herd", "by")
    form = SheetForm(member=request.user)
    context = {"page": Paginator(rows, A_PAGE).get_page(request.GET.get("page")), "possible": form.possible}
    return page_or_part(request, "herds/sheet_list.html", "rows", context)


@require_http_methods(["GET", "POST"])
@sent_once
def sheet_create(request):
    """Choose a file; its preview comes next."""
    initial = {"about": request.GET["about"]} if "about" in request.GET else {}
    form = SheetForm(posted(request), request.FILES or None, member=request.user, initial=initial)
    if form.is_valid() and (batch := carried_out(form, bring_sheet, by=request.user, **form.given())):
        understood = batch.state != BatchState.PREVIEW or batch.counts["refused"] < batch.counts["rows"]
        return go(request, batch) if understood else go(request, "sheet-columns", batch.key)
    return render(request, "herds/sheet_form.html", {"form": form}, status=422 if form.errors else 200)


@require_GET
def sheet_detail(request, key):
    """A sheet in whatever state it is: its progress, its preview row by row, or what became of it."""
    batch = _batch(request, key)
    filters = RowFilter(request.GET)
    context = {"batch": batch, "working": batch.state in WORKING, "filters": filters}
    if not context["working"]:
        context |= _rows(request, batch, filters)
    if batch.state == BatchState.PREVIEW:
        context |= _preview(batch)
    return page_or_part(request, "herds/sheet_detail.html", "rows", context)


@require_GET
def sheet_progress(request, key):
    """How far the job is, for the part of the page that asks again and again."""
    batch = _batch(request, key)
    if batch.state not in WORKING:
        return go(request, batch)
    return page_or_part(request, "herds/sheet_detail.html", "progress", {"batch": batch, "working": True})


@require_http_methods(["GET", "POST"])
def sheet_columns(request, key):
    """What the columns mean."""
    batch = _batch(request, key)
    if batch.state != BatchState.PREVIEW:
        return go(request, batch)
    form = ColumnsForm(posted(request), found=batch.found)
    if form.is_valid():
        try:
            choose_columns(batch=batch, parts=form.given(), by=request.user)
            return go(request, batch)
        except ValidationError as error:
            form.add_error(None, error)
    context = {"form": form, "batch": batch}
    return render(request, "herds/sheet_columns.html", context, status=422 if form.errors else 200)


@require_POST
def sheet_answer(request, key):
    """Answer what is asked once for the whole sheet; the preview is worked out again."""
    batch = _batch(request, key)
    form = AnswersForm(request.POST, batch=batch) if batch.state == BatchState.PREVIEW else None
    if form is None or not form.is_valid():
        said = [error for errors in form.errors.values() for error in errors] if form else []
        messages.error(request, " ".join(said) or f"{batch} is {batch.get_state_display()}, so nothing is asked now.")
        return go(request, batch)
    return _done(request, batch, answer, **form.given(batch.settings.get("parents")))


@require_POST
@sent_once
def sheet_agree(request, key):
    """Bring it in as previewed."""
    return _done(request, _batch(request, key), agree, leave_out="leave_out" in request.POST)


@require_http_methods(["GET", "POST"])
@sent_once
def sheet_undo(request, key):
    """Take a whole sheet back."""
    batch = _batch(request, key)
    if request.method == "POST":
        return _done(request, batch, undo)
    if batch.state != BatchState.DONE:
        raise Http404
    counts = batch.counts
    text = (
        f"{count_words(counts['created'], 'animal')} that came with “{batch}” would leave the registry, with their "
        f"marks, weights and litters, and {count_words(counts['changed'], 'changed card')} would get the former values "
        "back. It is refused if anything was logged or changed on one of them since."
    )
    context = {
        "title": "Take the sheet back?", "text": text, "confirm_label": "Take it back",
        "cancel_url": batch.get_absolute_url(),
        "danger": True,
    }  # fmt: skip
    return render(request, "confirm.html", context)


@require_http_methods(["GET", "POST"])
def sheet_drop(request, key):
    """Throw away a sheet that was not brought in, or the kept file of one that was."""
    batch = _batch(request, key)
    unused = batch.state in (BatchState.PREVIEW, BatchState.FAILED)
    if request.method == "POST":
        try:
            (drop if unused else forget_file)(batch=batch, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
            return go(request, batch)
        messages.success(request, f"“{batch}” is deleted." if unused else f"The file of “{batch}” is deleted.")
        return go(request, "sheet-list") if unused else go(request, batch)
    text = "Nothing of this sheet is in the registry. The file and its preview are deleted for good."
    if not unused:
        text = "The file is deleted for good. What came in with it stays, and its rows stay readable here."
    context = {
        "title": "Delete the sheet?" if unused else "Delete the file?", "text": text, "confirm_label": "Delete it",
        "cancel_url": batch.get_absolute_url(), "danger": True,
    }  # fmt: skip
    return render(request, "confirm.html", context)


@require_GET
def sheet_file(request, key):
    """The file as it came."""
    batch = _batch(request, key)
    if not batch.file:
        raise Http404
    answer = FileResponse(batch.file.open("rb"), as_attachment=True, filename=batch.name)
    answer["Content-Type"] = "application/octet-stream"
    return answer


def _batch(request, key):
    rows = ImportBatch.objects.visible_to(request.user).select_related("herd", "by", "undone_by", "progress")
    return get_object_or_404(rows, key=key)


def _done(request, batch, action, **given):
    """Carry out an action on a batch and go to its page, with the refusal as a notice."""
    try:
        action(batch=batch, by=request.user, **given)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, batch)


def _rows(request, batch, filters):
    rows = ImportRow.objects.filter(batch=batch).select_related("animal")
    if outcome := filters.cleaned_data["outcome"]:
        rows = rows.filter(outcome=outcome)
    if q := one_space(filters.cleaned_data["q"]):
        rows = rows.filter(label__icontains=q)
    page = Paginator(rows, A_PAGE).get_page(request.GET.get("page"))
    headers = {part["name"]: part["headers"] for part in batch.found.get("parts", [])}
    only = next((part["headers"] for part in batch.found.get("parts", []) if part["used"]), [])
    for row in page:
        names = headers.get(row.sheet, only) if row.sheet else only
        row.pairs = [
            (names[at] if at < len(names) and names[at] else f"column {at + 1}", cell)
            for at, cell in enumerate(row.cells)
            if cell
        ]
    counts = batch.counts
    tabs = [("", "all", counts.get("rows", 0))]
    tabs += [(outcome.value, outcome.label, _count(batch, outcome)) for outcome in RowOutcome]
    return {"page": page, "tabs": [tab for tab in tabs if tab[2]]}


def _count(batch, outcome):
    counts, litters = batch.counts, {"created": "litters", "changed": "litters_changed", "same": "litters_same"}
    return counts.get(outcome.value, 0) + counts.get(litters.get(outcome.value, ""), 0)


def _preview(batch):
    counts = batch.counts
    out = counts["refused"] + counts["asked"]
    new = counts["created"] + counts["changed"] + counts["litters"] + counts["litters_changed"]
    left_out = [
        (
            part["name"],
            [header for header, name in zip(part["headers"], part["columns"], strict=True) if header and not name],
        )
        for part in batch.found["parts"]
        if part["used"]
    ]
    return {
        "form": AnswersForm(batch=batch),
        "out": out,
        "new": new,
        "goes_in": _goes_in_words(counts),
        "left_out": [(name, headers) for name, headers in left_out if headers],
        "unused": [part for part in batch.found["parts"] if not part["used"]],
        "skipped": [
            (part["name"], row, words)
            for part in batch.found["parts"]
            if part["used"]
            for row, words in part["skipped"]
        ],
        "remarks": [remark for part in batch.found["parts"] for remark in part["remarks"]],
    }


def _goes_in_words(counts):
    words = [
        (counts["created"], "new animal", None),
        (counts["changed"], "changed card", None),
        (counts["outsiders"], "parent outside the club", "parents outside the club"),
        (counts["litters"], "litter", None),
        (counts["litters_changed"], "changed litter", None),
    ]
    return ", ".join(count_words(number, one, many) for number, one, many in words if number)
