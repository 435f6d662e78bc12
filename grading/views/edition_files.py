"""Comparing any two editions, saving one as a plain file, and bringing one in."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.forms import carried_out, posted
from clubsite.members.guards import officers_only
from clubsite.members.sent_once import sent_once
from grading.actions.editions import import_edition
from grading.forms.edition_own import ImportForm, ImportHeadForm
from grading.models import FindingKind, Trait
from grading.profiles.differences import compared
from grading.profiles.documents import document_of
from grading.profiles.reading import NotAnEdition, read_edition
from grading.profiles.toml import written
from grading.profiles.words import Names, counted, told
from herds.words import day_words

from .edition_pages import readable_editions


@require_safe
def edition_compare(request, pk):
    """What an edition changes against another: the one before, unless `with` names one."""
    readable = readable_editions(request.user)
    edition = get_object_or_404(readable, pk=pk)
    others = list(readable.exclude(pk=pk))
    asked = request.GET.get("with", "")
    chosen = asked if asked.isdigit() else str(edition.previous_id or "")
    other = next((each for each in others if str(each.pk) == chosen), None)
    context = {"edition": edition, "others": others, "other": other, "unknown": bool(asked and other is None)}
    if other:
        unit = request.user.weight_unit
        context["differences"] = compared(document_of(other), document_of(edition), unit)
    return render(request, "grading/edition_compare.html", context)


@require_safe
def edition_file(request, pk):
    """The edition as a plain TOML file, in the layout of those that come with Argentry."""
    edition = get_object_or_404(readable_editions(request.user), pk=pk)
    comment = (
        f"{edition}: a breed profile, saved from Argentry on {day_words(timezone.localdate())}.\n"
        "Weights are in grams, months are whole calendar months, step words are the profile's own.\n"
        "Pictures of steps are not part of this file."
    )
    name = slugify(f"{edition.association} {edition.name} {edition.edition}") or "edition"
    response = HttpResponse(written(document_of(edition), comment), content_type="application/toml; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name[:80]}.toml"'
    return response


@require_http_methods(["GET", "POST"])
@officers_only
@sent_once
def edition_import(request):
    """Choose a file, read what it would make, then make it: all of it, or nothing."""
    form = ImportForm(posted(request), request.FILES or None)
    if request.method != "POST" or not form.is_valid():
        return _import_page(request, form, 422 if form.errors else 200)
    try:
        reading = read_edition(form.cleaned_data["text"], traits=_by_code(Trait), kinds=_by_code(FindingKind))
    except NotAnEdition as error:
        form.add_error("file", str(error))
        return _import_page(request, form, 422)
    if reading.problems:
        return _import_page(request, form, 422, problems=reading.problems)
    return _preview_or_make(request, form, reading.document)


def _preview_or_make(request, form, document):
    """The preview with the edition's own head to correct; made once that was confirmed."""
    about = document["profile"]
    confirmed = "edition" in request.POST and not request.FILES
    head = ImportHeadForm(request.POST if confirmed else None, initial=about)
    if confirmed and head.is_valid():
        document = document | {"profile": about | head.cleaned_data}
        draft = carried_out(head, import_edition, document=document, by=request.user)
        if draft:
            messages.success(request, f"{draft} is a draft now. Read it, then publish it.")
            return redirect("profile-edit", draft.pk)
    names = Names(document)
    preview = told(document, names, request.user.weight_unit)
    return _import_page(
        request, form, 422 if head.errors else 200, head=head, preview=preview, counts=counted(document),
        new=[row["name"] for what in ("new_traits", "new_findings") for code, row in document.get(what, {}).items()
             if not _there(what, code)], text=form.cleaned_data["text"], document=document,
    )  # fmt: skip


def _there(what, code):
    return (Trait if what == "new_traits" else FindingKind).objects.filter(code=code).exists()


def _by_code(model):
    return {row.code: row for row in model.objects.all()}


def _import_page(request, form, status, **context):
    return render(request, "grading/edition_import.html", {"form": form} | context, status=status)
