"""Lists of matings and litters: what is filtered, how it is sorted, and the same rows as a CSV file."""

import csv
from datetime import timedelta

from django.core.paginator import Paginator
from django.db.models import Count, Exists, F, OuterRef, Q, Subquery
from django.http import HttpResponse
from django.utils import timezone

from clubsite.htmx import page_or_part
from clubsite.members.models import Club
from clubsite.spreadsheets import harmless

from .finding import matching, one_space
from .forms.log_lists import LITTER_STATES, MATING_STATES, LogFilter
from .models import Animal, Kit, Litter, LitterEvent, Mating, MatingEvent
from .words import count_words

PAGE = 40
LIVE = Q(kits__died_on__isnull=True, kits__pk__isnull=False)


def mating_list_page(request):
    asked = LogFilter(request.GET, member=request.user, states=MATING_STATES)
    rows = asked.of_herds(Mating.objects.visible_to(request.user))
    rows = _named(asked.between(rows, "mated_on"), asked.asked("q"), "doe", "buck")
    rows = mating_state(rows, asked.asked("state"), timezone.localdate(), Club.current())
    sorts = {"mated": F("mated_on"), "doe": F("doe__mark_order"), "buck": F("buck__mark_order")}
    rows, sort = _sorted(rows, request.GET.get("sort", ""), sorts, "-mated")
    rows = rows.select_related("doe", "buck", "herd").prefetch_related("events", "litters")
    return _answer(request, "mating", asked, rows, sort, MATING_CELLS)


def litter_list_page(request):
    asked = LogFilter(request.GET, member=request.user, states=LITTER_STATES)
    rows = asked.of_herds(Litter.objects.visible_to(request.user))
    rows = litter_state(_named(asked.between(rows, "born_on"), asked.asked("q"), "dam", "sire"), asked.asked("state"))
    sorts = {
        "born": F("born_on"),
        "dam": F("dam__mark_order"),
        "sire": F("sire__mark_order"),
        "alive": F("born_alive"),
    }
    rows, sort = _sorted(rows, request.GET.get("sort", ""), sorts, "-born")
    rows = rows.select_related("dam", "sire", "herd").annotate(
        living=Count("kits", filter=LIVE), weaned_on=Subquery(_weaned().values("on")[:1])
    )
    return _answer(request, "litter", asked, rows, sort, LITTER_CELLS)


def mating_state(rows, state, today, club):
    """The matings in one state; 'never closed' are those whose days are over and of which nothing more is known."""
    is_open = Q(ended_on__isnull=True, litters__isnull=True)
    last = today - timedelta(days=club.latest_kindling_days)
    over = Q(until__lt=last) | Q(until__isnull=True, mated_on__lt=last)
    felt = MatingEvent.objects.filter(mating=OuterRef("pk"), result=MatingEvent.Result.IN_KINDLE)
    conditions = {
        "open": is_open & ~over,
        "in_kindle": is_open & ~over & Exists(felt),
        "litter": Q(litters__isnull=False),
        "given_up": Q(ended_on__isnull=False),
        "unclosed": is_open & over,
    }
    return rows.filter(conditions[state]) if state else rows


def litter_state(rows, state):
    weaned = _weaned()
    unmarked = Kit.objects.filter(litter=OuterRef("pk"), died_on__isnull=True, animal__isnull=True)
    conditions = {"nest": ~Exists(weaned), "weaned": Exists(weaned), "unmarked": Exists(unmarked)}
    return rows.filter(conditions[state]) if state else rows


def _weaned():
    return LitterEvent.objects.filter(litter=OuterRef("pk"), kind=LitterEvent.Kind.WEANED)


def mating_words(mating):
    """Where a mating stands, in a few words."""
    litter = next(iter(mating.litters.all()), None)
    if litter:
        return f"litter of {litter.born_total}"
    if mating.ended_on:
        return "given up"
    felt = [event for event in mating.events.all() if event.kind == MatingEvent.Kind.PALPATION]
    return f"felt: {felt[-1].get_result_display()}" if felt else "open"


def _named(rows, text, *roles):
    if not one_space(text):
        return rows
    found = matching(Animal.objects.all(), text).values("pk")
    condition = Q()
    for role in roles:
        condition |= Q(**{f"{role}__in": found})
    return rows.filter(condition)


def _sorted(rows, asked, sorts, usual):
    sort = asked if asked.removeprefix("-") in sorts else usual
    by = sorts[sort.removeprefix("-")]
    order = by.desc(nulls_last=True) if sort.startswith("-") else by.asc(nulls_last=True)
    return rows.order_by(order, "-pk"), sort


def _answer(request, what, asked, rows, sort, cells):
    if request.GET.get("as") == "csv":
        return _as_csv(rows, cells, f"{what}s-{timezone.localdate().isoformat()}.csv")
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "filters": asked, "sort": sort, "found": count_words(page.paginator.count, what)}
    return page_or_part(request, f"herds/{what}_list.html", "rows", context)


def _as_csv(rows, cells, filename):
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{filename}"'
    response.write("\ufeff")  # spreadsheets take the file for UTF-8 only with this sign
    writer = csv.writer(response)
    writer.writerow(cells)
    for row in rows.iterator(chunk_size=500):
        writer.writerow([harmless(cell(row)) for cell in cells.values()])
    return response


MATING_CELLS = {
    "herd": lambda mating: mating.herd,
    "doe": lambda mating: mating.doe,
    "buck": lambda mating: mating.buck,
    "mated": lambda mating: mating.mated_on,
    "together until": lambda mating: mating.until,
    "state": mating_words,
    "given up": lambda mating: mating.ended_on,
    "note": lambda mating: mating.note,
}
LITTER_CELLS = {
    "herd": lambda litter: litter.herd,
    "dam": lambda litter: litter.dam,
    "sire": lambda litter: litter.sire,
    "born": lambda litter: litter.born_on,
    "born alive": lambda litter: litter.born_alive,
    "born dead": lambda litter: litter.born_dead,
    "alive now": lambda litter: litter.living,
    "weaned": lambda litter: litter.weaned_on,
    "note": lambda litter: litter.note,
}
