"""Lists of matings and litters: what is filtered, how it is sorted, and the same rows as a CSV file."""

import csv
from datetime import timedelta

from django.core.paginator import Paginator
from django.db.models import Count, Exists, F, OuterRef, Q, Subquery
from django.http import HttpResponse
from django.utils import timezone

from clubsite.htmx import page_or_part
from clubsite.members.models import Club

from .finding import matching, one_space
from .forms.log_lists import LITTER_STATES, MATING_STATES, LogFilter
from .listing import harmless
from .models import Animal, Kit, Litter, LitterEvent, Mating, MatingEvent
from .models.natural import NaturalKey
from .words import count_words

PAGE = 40
LIVE = Q(kits__died_on__isnull=True, kits__pk__isnull=False)


def mating_list_page(request):
    asked = LogFilter(request.GET, member=request.user, states=MATING_STATES)
    rows = asked.of_herds(Mating.objects.visible_to(request.user))
    rows = _named(asked.between(rows, "mated_on"), asked.asked("q"), "doe", "buck")
    rows = mating_state(rows, asked.asked("state"), timezone.localdate(), Club.current())
    sorts = {"mated": F("mated_on"), "doe": NaturalKey("doe__mark_text"), "buck": NaturalKey("buck__mark_text")}
    rows, sort = _sorted(rows, request.GET.get("sort", ""), sorts, "-mated")
    rows = rows.select_related("doe", "buck", "herd").prefetch_related("events", "litters")
    return _answer(request, "mating", asked, rows, sort, _mating_cells)


def litter_list_page(request):
    asked = LogFilter(request.GET, member=request.user, states=LITTER_STATES)
    rows = asked.of_herds(Litter.objects.visible_to(request.user))
    rows = litter_state(_named(asked.between(rows, "born_on"), asked.asked("q"), "dam", "sire"), asked.asked("state"))
    sorts = {
        "born": F("born_on"),
        "dam": NaturalKey("dam__mark_text"),
        "sire": NaturalKey("sire__mark_text"),
        "alive": F("born_alive"),
    }
    rows, sort = _sorted(rows, request.GET.get("sort", ""), sorts, "-born")
    rows = rows.select_related("dam", "sire", "herd").annotate(
        living=Count("kits", filter=LIVE), weaned_on=Subquery(_weaned().values("on")[:1])
    )
    return _answer(request, "litter", asked, rows, sort, _litter_cells)


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
    for number, row in enumerate(rows.iterator(chunk_size=500)):
        found = cells(row)
        if not number:
            writer.writerow(found)
        writer.writerow([harmless(cell) for cell in found.values()])
    return response


def _mating_cells(mating):
    return {
        "herd": mating.herd,
        "doe": mating.doe,
        "buck": mating.buck,
        "mated": mating.mated_on,
        "together until": mating.until,
        "stands": mating_words(mating),
        "given up": mating.ended_on,
        "note": mating.note,
    }


def _litter_cells(litter):
    return {
        "herd": litter.herd,
        "dam": litter.dam,
        "sire": litter.sire,
        "born": litter.born_on,
        "born alive": litter.born_alive,
        "born dead": litter.born_dead,
        "alive now": litter.living,
        "weaned": litter.weaned_on,
        "note": litter.note,
    }
