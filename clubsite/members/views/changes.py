"""Lists of changes: of the whole registry for registrars and officers, and of one thing on its own page."""

import csv

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from clubsite.errors import NotYours
from clubsite.htmx import page_or_part

from ..forms.changes import ChangeFilter
from ..models import READERS, REMEMBERED, Audience, Change
from ..takeout import plain_row
from ..telling import tell

REGISTRY = (Audience.IDENTITY, Audience.CLUB)
A_PAGE = 40
CSV_ROWS = 500
COLUMNS = ("day", "time", "by", "kind", "what", "animal or herd", "reason", "page")


@require_safe
def change_list(request):
    """The latest changes of the registry: identity for the registrar; settings, roles, editions for the officer."""
    groups = groups_for(request.user, REGISTRY)
    return changes_page(request, _registry_changes(request), title="Changes", groups=groups, csv_too=True)


@require_safe
def change_csv(request):
    """The same, as filtered, as a file."""
    changes = asked(request, groups_for(request.user, REGISTRY)).narrow(_registry_changes(request))
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="changes-{timezone.localdate().isoformat()}.csv"'
    response.write("\ufeff")  # spreadsheets take the file for UTF-8 only with this sign
    writer = csv.writer(response)
    writer.writerow(COLUMNS)
    for each in in_words(changes, request.user):
        writer.writerow(plain_row(change_row(each)))
    return response


def changes_page(request, changes, *, title, up_url="", up_label="", groups=None, csv_too=False):
    """A page of changes, filtered; `changes` is what the reader may read, and `groups` the kinds to choose from."""
    filters = asked(request, groups or groups_for(request.user))
    page = Paginator(filters.narrow(changes).order_by("-pk"), A_PAGE).get_page(request.GET.get("page"))
    page.object_list = tell(page.object_list, request.user)
    context = {
        "page": page,
        "filters": filters,
        "title": title,
        "up_url": up_url,
        "up_label": up_label,
        "csv_too": csv_too,
    }
    return page_or_part(request, "members/change_list.html", "rows", context)


def asked(request, groups):
    return ChangeFilter(request.GET, groups=groups)


def groups_for(reader, audiences=None):
    """The kinds of changes that the reader may read some of, among those of some audiences."""
    audiences = [each for each in audiences or READERS if READERS[each](reader) is not None]
    return sorted({spec.group for spec in REMEMBERED.values() if spec.audience in audiences})


def in_words(changes, reader):
    """All of the changes as Told, the latest first, with the names fetched for many rows at once."""
    last = None
    while True:
        rows = changes.order_by("-pk")
        part = list(rows.filter(pk__lt=last)[:CSV_ROWS] if last else rows[:CSV_ROWS])
        if not part:
            return
        yield from tell(part, reader)
        last = part[-1].pk


def change_row(told):
    at = timezone.localtime(told.change.at)
    what = told.did + (f": {'; '.join(told.details)}" if told.details else "")
    places = ", ".join(map(str, told.places))
    return [at.date(), f"{at:%H:%M}", told.who, told.group, what, places, told.change.reason, told.change.page]


def _registry_changes(request):
    if not (request.user.is_registrar or request.user.is_officer):
        raise NotYours
    changes = Change.objects.visible_to(request.user).filter(audience__in=REGISTRY)
    about = request.GET.get("about", "")
    return changes.filter(person_id=about) if about.isdecimal() else changes
