"""What tests of the look's screens share: beginning a look, and one touch on a scale as the screen sends it."""

import re
from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from grading.actions import looks as actions
from grading.models import Look

HTMX = {"HTTP_HX_REQUEST": "true"}


def begin(cast, by=None, animal=None, **given):
    """An open look: the keeper's, of the daughter, in hand, unless told."""
    given.setdefault("mode", "in_hand")
    given.setdefault("light", "open_shade")
    return actions.start_look(animal=animal or cast.daughter, by=by or cast.keeper, **given)


def touch(client, look, code, step, site="", **more):
    """One touch on a scale."""
    query = f"?trait={code}" + (f"&site={site}" if site else "")
    name = f"{code}--{site}" if site else code
    return client.post(reverse("look-answer", args=[look.pk]) + query, {name: step, **more}, **HTMX)


def day_passes(look):
    """The look's day is over now."""
    Look.objects.filter(pk=look.pk).update(editable_until=timezone.now() - timedelta(seconds=1))
    look.refresh_from_db()


def text_of(response):
    return response.content.decode()


def without_tokens(html):
    """A page without its random tokens, in which a mark as short as A1 stands by chance once in a while."""
    return re.sub(r"\w{32,}", "", html)
