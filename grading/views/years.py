from django.http import Http404
from django.shortcuts import render
from django.utils import timezone

from clubsite.members.models import Club
from grading import charts, sheets, twoway, years
from grading.views.sires import chosen_breed
from herds.models import Breed


def shown_year(row, club):
    """A summary row with the reason why it is held back, or with its coats."""
    held = twoway.held_back(row["animals"], row["herds"], club)
    return {**row, "held": held, "coats": [] if held else [twoway.coat_of(row), twoway.coat_of(row, "_like")]}


def year_list(request):
    """The breed by birth year, surface and undercolor together, raw and like for like."""
    club, breed = Club.current(), chosen_breed(request)
    rows = [shown_year(row, club) for row in years.year_rows(breed.pk)] if breed else []
    if request.GET.get("as") == "csv":
        return sheets.year_sheet(rows)
    goal = twoway.goal_of(twoway.club_profile(breed.pk, timezone.localdate())) if breed else None
    panels = []
    for basis, title in twoway.BASES.items():
        end = "_like" if basis == "like" else ""
        points = [
            {"year": row["key"], "surface": row[f"surface{end}"], "undercolor": row[f"undercolor{end}"]}
            for row in rows
            if not row["held"] and row[f"surface{end}"] is not None and row[f"undercolor{end}"] is not None
        ]
        table = [[p["year"], twoway.words_for(p["surface"]), twoway.words_for(p["undercolor"])] for p in points]
        panels.append(
            {
                "title": title,
                "svg": charts.path_by_year(points, goal=goal) if points else "",
                "columns": ["Born in", "Surface shade", "Undercolor"],
                "rows": table,
                "note": twoway.LIKE_FOR_LIKE_NOTE if end else "As graded, whoever graded.",
            }
        )
    context = {"breed": breed, "breeds": Breed.objects.all(), "rows": rows, "panels": panels}
    return render(request, "grading/year_list.html", context)


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
