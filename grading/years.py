"""The breed by birth year: what everybody sees alike, and therefore is kept (grading/standing.py)."""

from django.utils import timezone

from grading import fade, faults_thrown, load, standing, twoway
from grading.beliefs import reading


def year_rows(breed_id):
    """Summaries of the whole breed by birth year."""
    return standing.kept("years", breed_id, read_years)


def read_years(breed_id):
    """(looks, summaries by birth year) read from the database now."""
    rows = load.summaries(twoway.current_looks(breed_id), "birth year", load.cells_of(breed_id))
    return sum(row["looks"] for row in rows), rows


def year_parts(breed_id, year):
    """What the page of a birth year shows: counts, panels, figures and distributions; None without looks."""
    return standing.kept(f"year-{year}", breed_id, lambda breed: read_year(breed, year))


def read_year(breed_id, year):
    """(looks of the whole breed, parts of the year's page) read from the database now."""
    looks, cells = twoway.current_looks(breed_id).filter(animal__born_on__year=year), load.cells_of(breed_id)
    rows = load.look_rows(looks)
    if not len(rows):
        return cells.looks, None
    profile = twoway.club_profile(breed_id, timezone.localdate())
    panels = twoway.panels_of(
        rows, cells, goal=twoway.goal_of(profile), names={}, label=f"born {year}", progeny_word="animals"
    )
    return cells.looks, {
        "group": load.group_of(rows),
        "panels": panels,
        "figures": [(panel.title, twoway.figures(panel.group)) for panel in panels],
        "distributions": twoway.distributions(looks, profile),
    }


def renew(name, breed_id):
    """Work out one of the kept figures anew, by its name."""
    if name == "cells":
        standing.renew(name, breed_id, load.counted_cells)
    elif name == "sires":
        standing.renew_sires(breed_id, load.cells_of(breed_id))
    elif name == "years":
        standing.renew(name, breed_id, read_years)
    elif name == "beliefs":
        standing.renew(name, breed_id, reading.read_breed)
    elif name in ("fade", "faults"):
        standing.renew(name, breed_id, {"fade": fade.read_breed, "faults": faults_thrown.read_breed}[name])
    elif name.startswith("year-"):
        standing.renew(name, breed_id, lambda breed: read_year(breed, int(name.removeprefix("year-"))))


def renew_all():
    """Every large breed's club-wide figures, in the order in which they build on each other; in words."""
    from herds.models import Breed

    done = []
    for breed in Breed.objects.filter(animals__isnull=False).distinct():
        renew("cells", breed.pk)
        if load.cells_of(breed.pk).looks >= standing.LARGE:
            renew("years", breed.pk)
            renew("sires", breed.pk)
            renew("fade", breed.pk)
            renew("faults", breed.pk)
            renew("beliefs", breed.pk)
            done.append(str(breed))
    return f"renewed for {', '.join(done)}" if done else "no breed is large enough"
