"""The member's herds, and the page of one herd."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.actions.animals import change_status
from herds.actions.decisions import decide
from herds.csv_file import csv_response, herd_cells, rows_response
from herds.finding import one_space
from herds.forms.care import DecisionForm, StatusForm
from herds.herd_sheet import HEADS, herd_rows
from herds.listing import HerdListing
from herds.models import Animal, Herd, Status, Transfer, Verdict
from herds.words import count_words, latest_birth, listed

HERDS_A_PAGE = 40
YOUNG_MONTHS = 6
NAMED = 5


def young_since():
    """Animals born after this day are youngsters today."""
    return latest_birth(timezone.localdate(), YOUNG_MONTHS)


@require_GET
def herd_list(request):
    """My herds first, then those granted to me, then the club's others."""
    herds = Herd.objects.visible_to(request.user).with_owners()
    mine = herds.kept_by(request.user).with_counts(young_since())
    granted = herds.granted_to(request.user).exclude(pk__in=mine.values("pk"))
    others = herds.filter(closed_on__isnull=True).exclude(pk__in=mine.values("pk")).exclude(pk__in=granted.values("pk"))
    q = one_space(request.GET.get("q", ""))[:80]
    for word in q.split():
        named = Q(ownerships__member__name__icontains=word, ownerships__until__isnull=True)
        named |= Q(name__icontains=word) | Q(prefix__icontains=word) | Q(region__icontains=word)
        others = others.filter(pk__in=Herd.objects.filter(named).values("pk"))
    page = Paginator(others, HERDS_A_PAGE).get_page(request.GET.get("page"))
    waiting = Transfer.objects.open().filter(to_herd__in=Herd.objects.kept_by(request.user)).count()
    context = {"mine": mine, "granted": granted, "page": page, "q": q, "waiting": waiting}
    return page_or_part(request, "herds/herd_list.html", "others", context)


@require_GET
def herd_detail(request, slug):
    """The herd's animals: cards for the club, with decisions and outcomes for its owners."""
    herds = Herd.objects.visible_to(request.user).with_owners().with_counts(young_since()).with_grant_of(request.user)
    herd = get_object_or_404(herds, slug=slug)
    listing = HerdListing.asked(herd, request.user, request.GET)
    context = {
        "herd": herd,
        "listing": listing,
        "page": listing.page(request.GET.get("page")),
        "sort": listing.sort,
        "here": request.get_full_path(),
        "filters": listing.filters,
    }
    return page_or_part(request, "herds/herd_detail.html", "animals", context)


@require_GET
def herd_csv(request, slug):
    """The list as it is on screen, for a spreadsheet."""
    herd = get_object_or_404(Herd.objects.visible_to(request.user), slug=slug)
    listing = HerdListing.asked(herd, request.user, request.GET)
    return csv_response(herd.slug, herd_cells(listing), listing.rows())


@require_GET
def herd_sheet(request, slug):
    """The whole herd as a sheet that can be brought in again; for its keepers."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    return rows_response(f"{herd.slug}-sheet", HEADS, herd_rows(herd))


@require_POST
@sent_once
def herd_decide(request, slug):
    """Keep, grow on or let go for the ticked animals; asks for the reason when one is needed."""
    herd, animals, back = _chosen(request, slug)
    if not animals:
        messages.error(request, "Tick at least one animal first.")
        return go(request, back)
    form = DecisionForm(_with_day(request, "decided_on"), herds=[herd])
    if form.is_valid():
        decided = form.carry_out(decide, animals=animals, by=request.user, confirmed=form.confirmed, **form.given())
        if decided:
            word = Verdict(form.cleaned_data["verdict"]).label
            undo = reverse("decision-undo", args=[decided[0].batch])
            messages.success(request, f"{_named(animals)}: {word}.", extra_tags=undo)
            return go(request, back)
    context = {"form": form, "animals": animals, "herd": herd, "back": back}
    return render(request, "herds/decision_form.html", context, status=422)


@require_POST
@sent_once
def herd_status(request, slug):
    """Where the ticked animals are now: first the question, then the answer, from the same address."""
    herd, animals, back = _chosen(request, slug)
    if not animals:
        messages.error(request, "Tick at least one animal first.")
        return go(request, back)
    asked = "on" in request.POST
    form = StatusForm(request.POST if asked else None)
    if asked and form.is_valid() and form.carry_out(
        change_status, animals=animals, by=request.user, confirmed=form.confirmed, **form.cleaned_data
    ):  # fmt: skip
        messages.success(request, f"{_named(animals)}: {Status(form.cleaned_data['status']).label}.")
        return go(request, back)
    context = {"form": form, "animals": animals, "herd": herd, "back": back}
    return render(request, "herds/animal_status.html", context, status=422 if asked else 200)


def _chosen(request, slug):
    """The member's herd, the ticked animals of it, and the page to go back to; 404 when one is not theirs."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    keys = {key for key in request.POST.getlist("animal") if key.isdecimal() and len(key) < 19}
    animals = list(Animal.objects.editable_by(request.user).filter(herd=herd, pk__in=keys).by_mark())
    back = request.POST.get("back", "")
    own = herd.get_absolute_url()
    return herd, animals, back if back == own or back.startswith(f"{own}?") else own


def _with_day(request, name):
    """The posted values; the day is today when the bulk bar did not ask for it."""
    data = request.POST.copy()
    data.setdefault(name, timezone.localdate().isoformat())
    return data


def _named(animals):
    """'A1, A2 and A3', or '12 animals'."""
    marks = [animal.mark_text or str(animal) for animal in animals]
    return listed(marks) if len(marks) <= NAMED else count_words(len(marks), "animal")
