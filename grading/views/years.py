from django.http import Http404
from django.shortcuts import render
from django.utils import timezone

from clubsite.members.models import Club
from grading import sheets, twoway, year_report, year_tables, years
from grading.views.sires import chosen_breed
from herds.models import Breed

ENDS = {"raw": "", "like": "_like"}


def shown_year(row, club, bred):
    """A summary row with the reason why it is held back, or with its coats; `bred` maps years to merits' means."""
    held = twoway.held_back(row["animals"], row["herds"], club)
    coats = [] if held else [twoway.coat_of(row, end) for end in ENDS.values()]
    if coats and bred:
        coats.append(year_tables.coat(**bred[row["key"]]) if row["key"] in bred else {})
    return {**row, "held": held, "coats": coats}


def year_list(request):
    """The breed by birth year, surface and undercolor together: raw, like for like, and what is bred."""
    club, breed = Club.current(), chosen_breed(request)
    bred = year_report.bred_by_year(breed.pk) if breed else {}
    rows = [shown_year(row, club, bred) for row in years.year_rows(breed.pk)] if breed else []
    if request.GET.get("as") == "csv":
        return sheets.year_sheet(rows)
    context = {
        "breed": breed,
        "breeds": Breed.objects.all(),
        "rows": rows,
        "titles": [*year_tables.BASES.values()][: 3 if bred else 2],
        "panels": path_panels(rows, bred, year_tables.goal_now(breed, timezone.localdate())) if rows else [],
        "state": year_report.state_words(breed) if rows and not bred else "",
    }
    return render(request, "grading/year_list.html", context)


def path_panels(rows, bred, goal):
    """A path through the years that may be shown, for each basis that has one; all on the same axes."""
    shown, found = [row for row in rows if not row["held"]], {}
    for basis in year_tables.BASES:
        if basis in ENDS:
            told = [(row["key"], *(row[name + ENDS[basis]] for name in year_report.LEADING)) for row in shown]
        else:
            told = [
                (row["key"], *(bred[row["key"]][name].value for name in year_report.LEADING))
                for row in shown
                if row["key"] in bred
            ]
        found[basis] = [
            dict(zip(("year", *year_report.LEADING), each, strict=True)) for each in told if None not in each
        ]
    return year_tables.paths(found, goal)


def year_detail(request, year):
    """The animals born in one year: two-way plot and the distribution of each trait, for the whole breed."""
    club, breed = Club.current(), chosen_breed(request)
    if breed is None:
        raise Http404
    parts = years.year_parts(breed.pk, year)
    if parts is None:
        raise Http404
    group = parts["group"]
    context = {"year": year, "title": f"Born in {year}", "breed": breed, "group": group}
    context["held"] = twoway.held_back(group.animals, group.herds, club)
    if not context["held"]:
        context |= parts
    return render(request, "grading/year_detail.html", context)
