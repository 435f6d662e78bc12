"""How narrow a breed has become."""

from django.contrib import messages
from django.db.models import Count
from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from clubsite.htmx import go
from clubsite.members.models import Club
from clubsite.spreadsheets import harmless
from herds.csv_file import rows_response
from herds.models import Breed
from pedigrees import population_chart
from pedigrees.actions.population import ask_for_figures
from pedigrees.models import PopulationRun
from pedigrees.population_words import population_of


def chosen_breed(slug):
    """The breed asked for, else the one with most animals; 404 for one that does not exist."""
    breeds = Breed.objects.annotate(size=Count("animals")).order_by("-size", "name")
    if slug:
        return get_object_or_404(breeds, slug=slug)
    breed = breeds.first()
    if breed is None:
        raise Http404
    return breed


def last_run(breed):
    """The last run that has figures, and the newest one of all."""
    runs = PopulationRun.objects.filter(breed=breed)
    return runs.filter(figures__isnull=False).first(), runs.first()


def may_start(member, run):
    """Officers always; any member while there is nothing to read yet."""
    return member.is_officer or run is None


@require_GET
def population(request):
    """The last figures of a breed with what each means; who may start new ones is told so."""
    breed = chosen_breed(request.GET.get("breed"))
    run, newest = last_run(breed)
    told = population_of(run.figures, Club.current()) if run else None
    context = {
        "breed": breed,
        "breeds": Breed.objects.filter(animals__isnull=False).distinct(),
        "run": run,
        "newest": newest,
        "may_start": may_start(request.user, run),
        "told": told,
        "chart": population_chart.by_year(told.years) if told else "",
    }
    return render(request, "pedigrees/population.html", context)


@require_POST
def population_start(request):
    """Have the figures worked out anew."""
    breed = chosen_breed(request.POST.get("breed"))
    run, _ = last_run(breed)
    if not may_start(request.user, run):
        raise Http404
    ask_for_figures(breed=breed, by=request.user)
    messages.success(request, f"The figures of {breed} are being worked out. Come back in a minute.")
    return go(request, f"{reverse('population')}?breed={breed.slug}")


@require_GET
def population_csv(request):
    """What the page shows, for a spreadsheet; what is held back there is held back here."""
    breed = chosen_breed(request.GET.get("breed"))
    run, _ = last_run(breed)
    rows = sheet_rows(breed, run, population_of(run.figures, Club.current())) if run else []
    heads = ["what", "of", "value", "animals", "words"]
    return rows_response(f"population-{breed.slug}", heads, [[harmless(cell) for cell in row] for row in rows])


def sheet_rows(breed, run, told):
    """The figures of the page, one a row."""
    rows = [("worked out", run.finished_at.date().isoformat(), "", told.animals, str(breed))]
    for each in told.figures:
        rows.append((each.title, "", each.value, told.cohort["animals"], each.sentence or each.why_not))
    for row in told.years:
        value, said = ("", row["held"]) if row["held"] else (round(row["mean"], 6), f"spread {row['sd']:.6f}")
        rows.append(("mean inbreeding by birth year", row["year"], value, row["known"], said))
    rows += [("ancestors known", words, round(share, 6), "", "") for words, share in told.generations]
    rows += [("founder's share", name, round(share, 6), "", "") for name, _, share in told.founders]
    rows += [("ancestor's further share", name, round(share, 6), "", "") for name, _, share in told.ancestors]
    return rows
