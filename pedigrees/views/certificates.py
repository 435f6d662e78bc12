"""Certificates: what would be printed, issuing it, the file, and the registrar's check of a number."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clubsite.forms import carried_out, posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.words import day_words
from pedigrees import certificate as words
from pedigrees import numbers
from pedigrees.actions.certificates import declare_void, issuable_by, issue_certificate
from pedigrees.forms import CertificateForm, VoidForm, asked_paper
from pedigrees.models import Certificate
from pedigrees.paper import PAPERS, printed


@require_http_methods(["GET", "POST"])
@sent_once
def certificate_create(request, pk):
    """What would stand on the paper and what is missing; issuing gives it a number."""
    animal = get_object_or_404(issuable_by(request.user), pk=pk)
    form = CertificateForm(posted(request))
    if form.is_valid():
        issued = carried_out(form, issue_certificate, animal=animal, by=request.user, **form.cleaned_data)
        if issued:
            messages.success(request, f"Certificate {issued} is issued.")
            return go(request, issued)
    asked = 4 if request.GET.get("generations") == "4" else 3
    data = words.pedigree(animal, 4, request.user)
    narrow = data | {"cells": [cell for cell in data["cells"] if cell["generation"] <= asked]}
    context = {
        "animal": animal,
        "form": form,
        "data": narrow,
        "complete": words.complete_words(narrow["cells"]),
        "wanting": words.wanting(narrow),
        "checks": words.registration_checks(animal, data, timezone.localdate()),
        "before": Certificate.objects.visible_to(request.user).filter(animal=animal)[:12],
    }
    template = "pedigrees/certificate_create.html"
    return page_or_part(request, template, "form", context, status=422 if form.errors else 200)


@require_GET
def certificate_list(request):
    """The member's certificates; the registrar's all, with a check of a number from a paper."""
    rows = Certificate.objects.visible_to(request.user).select_related("animal", "issued_by")
    typed, problem = request.GET.get("number", "").strip()[:40], ""
    if typed:
        try:
            found = rows.filter(number=numbers.read(typed)).first()
        except ValueError as error:
            problem = str(error)
        else:
            if found:
                return go(request, found)
            problem = "No certificate with this number was issued here." if request.user.is_registrar else (
                "None of your certificates has this number. The registrar can check all numbers."
            )  # fmt: skip
    page = Paginator(rows, 25).get_page(request.GET.get("page"))
    context = {"page": page, "typed": typed, "problem": problem}
    return render(request, "pedigrees/certificate_list.html", context, status=422 if problem else 200)


@require_http_methods(["GET", "POST"])
def certificate_detail(request, number):
    """One certificate: what it says, whether the registry says otherwise today, and whether it is void."""
    row = get_object_or_404(
        Certificate.objects.visible_to(request.user).select_related("animal", "issued_by", "void_by"), number=number
    )
    may_void = Certificate.objects.revocable_by(request.user).filter(pk=row.pk).exists()
    form = VoidForm(posted(request) if may_void else None)
    if form.is_valid() and carried_out(form, declare_void, certificate=row, by=request.user, **form.cleaned_data):
        messages.success(request, f"Certificate {row} is void. Its number says so from now on.")
        return go(request, row)
    now = words.pedigree(row.animal, row.generations, request.user)
    context = {
        "certificate": row,
        "changes": words.changes_since(row.printed, now),
        "papers": PAPERS.items(),
        "form": form,
        "may_void": may_void,
    }
    template = "pedigrees/certificate_detail.html"
    return page_or_part(request, template, "void", context, status=422 if form.errors else 200)


@require_GET
def certificate_file(request, number):
    """The certificate as PDF, word for word as it was issued."""
    row = get_object_or_404(Certificate.objects.visible_to(request.user), number=number)
    void = f"{row.void_reason} ({day_words(row.void_on)})" if row.void_on else ""
    pdf = printed("certificate", row.printed | {"number": row.number, "void": void}, paper=asked_paper(request.GET))
    return pdf_response(pdf, f"pedigree-{row.number}")


def pdf_response(pdf, name):
    """A PDF that is shown in the browser, and never kept by a cache between."""
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    response["Cache-Control"] = "private, no-store"
    return response
