"""One box that finds anything: animals, herds and members, as far as the member may see them."""

from django.core.paginator import Paginator
from django.shortcuts import redirect
from django.views.decorators.http import require_GET

from clubsite.htmx import page_or_part, wants_part
from herds.lookup import MOST, NAMED, find

A_PAGE = 20


@require_GET
def find_anything(request):
    """What the text may mean, in groups; sent by Enter, the only thing called exactly so is opened at once."""
    found = find(request.GET.get("q", ""), request.user)
    if "go" in request.GET and not wants_part(request) and (only := found.only_exact()) is not None:
        return redirect(only)
    page = Paginator(list(found.animals)[:MOST], A_PAGE).get_page(request.GET.get("page"))
    context = {
        "found": found,
        "page": page,
        "animals": found.some_animals(list(page)),
        "herds": found.some_herds(list(found.herds)[:NAMED]),
        "members": found.some_members(list(found.members)[:NAMED]),
        "more_animals": len(found.animals) > MOST,
        "more_herds": len(found.herds) > NAMED,
        "more_members": len(found.members) > NAMED,
    }
    return page_or_part(request, "herds/find.html", "found", context)
