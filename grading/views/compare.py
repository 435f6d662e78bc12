"""Two to six of one kind beside one another; the address carries everything, and can be handed on."""

from urllib.parse import urlencode

from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clubsite.members.models import Club
from grading.comparing.asked import all_breeds, asked_by, breed_asked, too_few
from grading.comparing.kinds import KINDS
from grading.comparing.page import compared, page_of
from grading.comparing.sheet import sheet_of


@require_safe
def compare(request):
    """Choose what to compare, and see it side by side as far as one may."""
    breeds = all_breeds()
    asked = asked_by(request.user, request.GET, breed_asked(request.GET, breeds))
    club = Club.current()
    found = compared(asked, request.user, club) if asked.enough else None
    if found and request.GET.get("as") == "csv":
        return sheet_of(found)
    context = {"asked": asked, "kinds": KINDS.values(), "breeds": breeds, "wanting": too_few(asked)}
    context |= {"removals": [(thing, asked.without(thing)) for thing in asked.things], **offered(request, asked)}
    if found:
        context |= page_of(found, request.user, club)
    return render(request, "grading/compare.html", context)


def offered(request, asked):
    """What can be added: things called as was typed, or the nearest ones; those already chosen left out."""
    if asked.full:
        return {"offers": []}
    things = asked.kind.offered(request.user, asked.text, asked.breed)
    return {"offers": [(thing, asked.with_one_more(thing)) for thing in things if thing.key not in asked.keys]}


@require_safe
def sire_compare(request):
    """The earlier address of a comparison of sires, which members have handed on."""
    keys = [("with", key) for key in request.GET.getlist("sire")]
    return redirect(f"{reverse('compare')}?{urlencode([('kind', 'sires'), *keys])}")
