"""The year report, for officers: on the screen, as a sheet, and on paper for the annual meeting."""

from django.http import Http404
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from clubsite.htmx import go
from clubsite.members.models import Club
from grading import level_words, sheets, year_paper, year_report, year_tables
from grading.running.warnings import graders_named_in
from grading.views.sires import chosen_breed
from herds.models import Breed
from pedigrees.views.certificates import asked_paper, pdf_response


def report_for(request):
    """(club, breed, report) for an officer; the report is None before the first good run."""
    if not request.user.is_officer:
        raise Http404
    club, breed = Club.current(), chosen_breed(request)
    return club, breed, year_report.gather(breed, club) if breed else None


@require_GET
def report(request):
    club, breed, found = report_for(request)
    context = {"breed": breed, "breeds": Breed.objects.all(), "report": found, "club": club}
    if found is None:
        context["state"] = year_report.state_words(breed) if breed else "No animal is in the registry yet."
        return render(request, "grading/year_report.html", context)
    if request.GET.get("as") == "csv":
        return sheets.report_sheet(year_tables.sheet_rows(found))
    keys = graders_named_in([each.evaluation for each in found.leading]) | {each.grader for each in found.shares}
    names = level_words.grader_names(request.user, keys)
    context |= {
        "panels": year_tables.panels(found, year_tables.goal_now(breed, timezone.localdate())),
        "rows": year_tables.leading_rows(found),
        "grading_rows": year_tables.grading_rows(found),
        "others": year_tables.other_rows(found),
        "shares": [(names.get(each.grader, "an unknown grader"), each) for each in found.shares],
        "sentences": [(each.trait, year_report.sentences(each.evaluation, names)) for each in found.leading],
        "how_to_read": year_tables.HOW_TO_READ,
    }
    return render(request, "grading/year_report.html", context)


@require_GET
def report_file(request):
    """The report as PDF; before there is one, back to the page, which says so."""
    club, breed, found = report_for(request)
    if found is None:
        return go(request, "year-report")
    pdf = year_paper.report_pdf(found, club, timezone.localdate(), paper=asked_paper(request.GET))
    return pdf_response(pdf, f"year-report-{breed.slug}")
