"""The sires that break the trade-off between surface shade and undercolor."""

from django.core.paginator import Paginator
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from clubsite.members.models import Club
from grading import merit_charts, merit_words, merits, sheets, sire_merits, trade_off, twoway
from grading.figures import signed
from grading.views.sires import chosen_breed
from herds.models import Breed

FEW = (
    "The club has too few merits to say what is usual in it. That takes a first evaluation of animals of several herds."
)


@require_safe
def both(request):
    """Sires whose surface and undercolor both lie on the good side, with how sure that is."""
    club, breed = Club.current(), chosen_breed(request)
    standing = merits.current(breed.pk, leading=True) if breed else None
    context = {"breed": breed, "breeds": Breed.objects.all(), "club": club, "run": standing and standing.run}
    if standing is None or standing.surface is None or standing.undercolor is None:
        return render(request, "grading/trade_off.html", context | {"refusal": merit_words.NO_RUN})
    spread = sire_merits.club_spread(standing, club)
    if spread is None:
        return render(request, "grading/trade_off.html", context | {"refusal": FEW})
    goal = twoway.goal_of(twoway.club_profile(breed.pk, timezone.localdate()))
    rows = trade_off.rows_of(standing, spread, request.user, club, goal)
    if request.GET.get("as") == "csv":
        return sheets.trade_off_sheet(rows)
    context |= {
        "page": Paginator(rows, 25).get_page(request.GET.get("page")),
        "svg": plot(standing, spread, goal, rows),
        "slope": signed(trade_off.slope_of(spread["covariance"])),
        "mean": [f"{value:.1f}" for value in spread["mean"]],
        "genetic": sire_merits.genetic_words(standing),
        "columns": ["Sire", "Surface shade", "Undercolor"],
        "table": [told(row) for row in rows[: trade_off.MOST_DRAWN]],
    }
    return render(request, "grading/trade_off.html", context)


def told(row):
    """A line of the table beside the plot."""
    return [str(row["sire"]), f"{row['surface'].step:.1f}", f"{row['undercolor'].step:.1f}"]


def plot(standing, spread, goal, rows):
    """The first sires with their rings before the club's; None without any."""
    own = [
        {
            "label": row["sire"].mark_text or row["sire"].name,
            "mean": (row["surface"].step, row["undercolor"].step),
            "covariance": merits.pair_covariance(standing, row["surface"], row["undercolor"]),
        }
        for row in rows[:6]
    ]
    dots = [
        {"surface": row["surface"].step, "undercolor": row["undercolor"].step, "label": str(row["sire"])}
        for row in rows[6 : trade_off.MOST_DRAWN]
    ]
    line = spread["mean"], trade_off.slope_of(spread["covariance"])
    return merit_charts.merits_two_way(own, dots=dots, club=spread, goal=goal, named=True, line=line) if own else ""
