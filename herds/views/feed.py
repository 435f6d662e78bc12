"""A calendar of what is due, read by calendar programs under a secret address, and the page that makes the address."""

import hashlib

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import http_date
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from clubsite.members.models import Club
from herds.actions import feeds as actions
from herds.calendar import due
from herds.calendar.ical import calendar_of, stamped
from herds.calendar.load import dismissed_keys, load_rows
from herds.models import FeedAddress, FeedWords, Herd

AHEAD_DAYS = 60
SHOWN_ONCE = "feed_address"
GONE = "This calendar address is not in use. Its owner can make a new one on the registry's account page.\n"


@login_not_required
@require_safe
def feed(request, token):
    """The member's tasks as iCalendar. Whatever opens nothing is answered alike, and nothing is kept by a cache."""
    address = FeedAddress.objects.read_by(token).first()
    if address is None:
        return _for_programs(HttpResponse(GONE, status=404, content_type="text/plain; charset=utf-8"), "no-store")
    calendar = _calendar(address)
    since = actions.note_reading(feed=address, content=calendar.to_ical())
    content = stamped(calendar, since)
    response = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="herd-work.ics"'
    response["ETag"] = f'"{hashlib.sha256(content).hexdigest()}"'
    response["Last-Modified"] = http_date(since.timestamp())
    return _for_programs(
        get_conditional_response(request, response["ETag"], int(since.timestamp()), response), "no-cache"
    )


def _calendar(address):
    herds, today, club = list(Herd.objects.kept_by(address.member)), timezone.localdate(), Club.current()
    aside = dismissed_keys(herds)
    tasks = due(today, club, load_rows(herds, today, club), ahead_days=AHEAD_DAYS)
    return calendar_of(
        [task for task in tasks if (task.herd, task.key) not in aside],
        today=today,
        name=f"Herd work, {club}",
        site=settings.PUBLIC_URL,
        zone=settings.TIME_ZONE,
        full=address.words == FeedWords.FULL,
    )


def _for_programs(response, cache):
    response["Cache-Control"] = f"private, {cache}"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response


@require_safe
@never_cache
def feed_address(request):
    """The member's calendar address: shown in full once, when it is made; after that only that there is one."""
    token = request.session.pop(SHOWN_ONCE, None)
    address = FeedAddress.objects.open().filter(member=request.user).first()
    link = settings.PUBLIC_URL + reverse("feed", args=[token]) if token and address else ""
    context = {"address": address, "link": link, "choices": FeedWords.choices, "ahead_days": AHEAD_DAYS}
    return render(request, "herds/feed_address.html", context)


@require_POST
def feed_make(request):
    """A new address in the place of the earlier one."""
    words = request.POST.get("words", "")
    _, token = actions.make_feed_address(by=request.user, words=words if words in FeedWords.values else FeedWords.FULL)
    request.session[SHOWN_ONCE] = token
    return redirect("feed-address")


@require_POST
def feed_revoke(request):
    if actions.revoke_feed_address(by=request.user):
        messages.success(request, "The calendar address is revoked. Nothing can be read under it any more.")
    return redirect("feed-address")
