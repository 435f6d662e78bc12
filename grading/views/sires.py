import numpy as np
from django.core.paginator import Paginator
from django.db.models import Count, Exists, OuterRef
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from clubsite.htmx import page_or_part
from clubsite.members.models import Club
from grading import fade, faults_thrown, load, merits, sheets, sire_counts, sire_merits, sire_ranking, standing, twoway
from grading.comparing.kinds import may_sire
from grading.comparing.sums import open_herds
from herds.models import Animal, Breed, Herd

SORTS = {
    "merit_surface": ("merit_surface", "Merit, surface"),
    "merit_undercolor": ("merit_undercolor", "Merit, undercolor"),
    "animals": ("animals", "Looked at"),
    "dams": ("dams", "Dams"),
    "herds": ("herds", "Herds"),
    "surface": ("surface", "Surface"),
    "undercolor": ("undercolor", "Undercolor"),
    "surface_like": ("surface_like", "Surface, like for like"),
    "undercolor_like": ("undercolor_like", "Undercolor, like for like"),
}


def chosen_breed(request):
    """The breed of the page: by ?breed=slug, else the one with most animals."""
    slug = request.GET.get("breed")
    if slug:
        return get_object_or_404(Breed, slug=slug)
    kept = Breed.objects.filter(Exists(Animal.objects.filter(breed=OuterRef("pk"))))[:2]
    if len(kept) == 1:  # counting a hundred thousand animals takes time
        return kept[0]
    return Breed.objects.annotate(size=Count("animals")).order_by("-size", "name").first()


def sire_rows(member, breed, scope, club, cells, found):
    """Summaries of sires: from looks the member may see (`mine`), or of the whole club with small groups left out."""
    looks = twoway.current_looks(breed.pk)
    if scope != "club":
        looks = twoway.visible_looks(member, looks)
    rows = load.summaries(looks, "sire", cells)
    if scope == "club":
        rows = [row for row in rows if not twoway.held_back(row["animals"], row["herds"], club)]
    return with_words(rows, club, found, member)


def with_words(rows, club, found, member):
    """The rows with their sires, coats, merits and the reason why one is not ranked. Two queries."""
    sires = Animal.objects.select_related("herd").in_bulk([row["key"] for row in rows])
    for row in rows:
        row["sire"] = sires[row["key"]]
        row["coats"] = [twoway.coat_of(row), twoway.coat_of(row, "_like")]
        row["too_few"] = twoway.not_ranked(row["animals"], row["dams"], club)
    return sire_ranking.with_merits(rows, found, member)


class LargeList:
    """A large club's sires, in order: rows are made of those that are shown, for the paginator and the files."""

    def __init__(self, member, breed, scope, club, cells, found, field, down):
        self.member, self.club, self.found = member, club, found
        sums = standing.sire_sums(breed.pk, cells)
        self.figures = standing.sire_figures(sums, None if scope == "club" else open_herds(member))
        columns = self.figures.columns
        few = (columns["animals"] < club.ranking_progeny) | (columns["dams"] < club.ranking_dams)
        if field in sire_ranking.SUMMARIES:
            columns |= sire_ranking.columns_of(found, member, columns["key"])
        self.order = sire_ranking.places_in_order(columns, field, down, few)
        if scope == "club":
            shown = columns["animals"] >= club.smallest_group_animals
            shown &= columns["herds"] >= club.smallest_group_herds
            self.order = self.order[shown[self.order]]

    def __len__(self):
        return len(self.order)

    def __getitem__(self, part):
        return with_words(self.figures.rows(self.order[part]), self.club, self.found, self.member)


def ordered_rows(member, breed, scope, club, field, down):
    """All rows of the list in order, those that are not ranked last; a large club's are made as they are read."""
    cells, found = load.cells_of(breed.pk), merits.current(breed.pk, leading=True)
    if cells.looks >= standing.LARGE:
        return LargeList(member, breed, scope, club, cells, found, field, down)
    return sire_ranking.in_order(sire_rows(member, breed, scope, club, cells, found), field, down)


def sire_list(request):
    """Sires by what their progeny look like, surface and undercolor together."""
    club, breed = Club.current(), chosen_breed(request)
    scope = "club" if request.GET.get("scope") == "club" else "mine"
    sort = request.GET.get("sort", "-animals")
    field = SORTS.get(sort.lstrip("-"), SORTS["animals"])[0]
    rows = ordered_rows(request.user, breed, scope, club, field, sort.startswith("-")) if breed else []
    if request.GET.get("as") == "csv":
        return sheets.sire_sheet(rows[:])
    page = Paginator(rows, 25).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "scope": scope,
        "sort": sort,
        "sorts": SORTS,
        "breed": breed,
        "breeds": Breed.objects.all(),
        "club": club,
        "with_merits": any(row["merit"] for row in page.object_list),
    }
    return page_or_part(request, "grading/sire_list.html", "rows", context)


def sire_page(request, sire, club):
    """What the sire page shows of one sire."""
    today = timezone.localdate()
    looks = twoway.current_looks(sire.breed_id).filter(animal__sire=sire)
    cells = load.cells_of(sire.breed_id)
    rows = load.look_rows(looks)
    herds = open_herds(request.user)
    seen_looks = twoway.looks_of(looks, herds)
    seen = rows.only(np.isin(rows.stands, herds))
    names = {
        pk: " ".join(filter(None, (mark, name))) or f"animal {pk}"
        for pk, mark, name in Animal.objects.filter(pk__in=seen.animal.tolist()).values_list("pk", "mark_text", "name")
    }
    profile = twoway.club_profile(sire.breed_id, today)
    of_all = load.group_of(rows)
    held = twoway.held_back(of_all.animals, of_all.herds, club)
    everybody = len(seen) == len(rows)
    show_all = everybody or not held
    shown = rows if show_all else seen
    panels = twoway.panels_of(
        shown, cells, goal=twoway.goal_of(profile), names=names, label=str(sire) if len(shown) else ""
    )
    shown_looks = looks if show_all else seen_looks
    all_traits = request.GET.get("traits") == "all"
    found = merits.current(sire.breed_id, leading=not all_traits)
    undercolor = found and found.undercolor
    goals = {row.trait_id: row.goal_for("") for row in profile.traits.all()} if profile else {}
    whole = everybody or not show_all  # the member may see each of the looks shown
    return {
        "sire": sire,
        "merits": sire_merits.part_of(sire, request.user, club, found, goals),
        "taken": sire_merits.taken_of(sire, request.user, club, found, shown_looks, whole) if found else None,
        "all_traits": all_traits,
        "counted": sire_counts.counted(seen, request.user) if len(seen) else [],
        "fade": fade.part_of(sire, shown_looks, undercolor, club, whole),
        "faults": faults_thrown.lines_of(sire, shown_looks, profile, club, whole),
        "panels": panels,
        "figures": [(panel.title, twoway.figures(panel.group)) for panel in panels],
        "group": panels[0].group,
        "names": names,
        "held": "" if show_all else held,
        "others": 0 if everybody else of_all.animals - len(names),
        "not_ranked": twoway.not_ranked(panels[0].group.animals, panels[0].group.dams, club),
        "shown_looks": shown_looks,
        "profile": profile,
    }


def sire_detail(request, pk):
    """One sire's progeny two ways: raw and like for like, with counts and the distribution of each trait."""
    club = Club.current()
    sire = get_object_or_404(may_sire(Animal.objects.visible_to(request.user)).select_related("herd"), pk=pk)
    context = sire_page(request, sire, club)
    context["distributions"] = twoway.distributions(context["shown_looks"], context["profile"])
    context["progeny"] = sire.sired.count()
    context["kept"] = Herd.objects.kept_by(request.user).filter(pk=sire.herd_id).exists()
    return render(request, "grading/sire_detail.html", context)
