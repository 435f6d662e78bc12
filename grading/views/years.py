from django.core.cache import cache
from django.http import Http404
from django.shortcuts import render
from django.utils import timezone

from clubsite.members.models import Club
from grading import charts, load, sheets, twoway
from grading.views.sires import chosen_breed
from herds.models import Breed

KEPT_SECONDS = 600


def year_rows(breed):
    """Summaries of the whole breed by birth year; remembered for ten minutes, since everybody sees the same."""
    key = f"years-{breed.pk}"
    rows = cache.get(key)
    if rows is None:
        rows = load.summaries(twoway.current_looks(breed.pk), "birth year", load.cells_of(breed.pk))
        cache.set(key, rows, KEPT_SECONDS)
    return rows


def shown_year(row, club):
    """A summary row with the reason why it is held back, or with its coats."""
    held = twoway.held_back(row["animals"], row["herds"], club)
    return {**row, "held": held, "coats": [] if held else [twoway.coat_of(row), twoway.coat_of(row, "_like")]}


def year_list(request):
    """The breed by birth year, surface and undercolor together, raw and like for like."""
    club, breed = Club.current(), chosen_breed(request)
    rows = [shown_year(row, club) for row in year_rows(breed)] if breed else []
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
    looks = twoway.current_looks(breed.pk).filter(animal__born_on__year=year)
    rows = load.look_rows(looks)
    if not len(rows):
        raise Http404
    whole = load.group_of(rows)
    context = {"year": year, "title": f"Born in {year}", "breed": breed, "group": whole}
    context["held"] = twoway.held_back(whole.animals, whole.herds, club)
    if not context["held"]:
        profile = twoway.club_profile(breed.pk, timezone.localdate())
        context["panels"] = twoway.panels_of(
            rows,
            load.cells_of(breed.pk),
            goal=twoway.goal_of(profile),
            names={},
            label=f"born {year}",
            progeny_word="animals",
        )
        context["figures"] = [(panel.title, twoway.figures(panel.group)) for panel in context["panels"]]
        context["distributions"] = twoway.distributions(looks, profile)
    return render(request, "grading/year_detail.html", context)
