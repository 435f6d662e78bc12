"""Whether a request wants a whole page or one part of it is decided here, so that no view decides it."""

from django.shortcuts import redirect, render
from django.utils.cache import patch_vary_headers
from django_htmx.http import HttpResponseClientRedirect


def wants_part(request):
    """True when htmx will swap the answer into a page that is already there."""
    return bool(request.htmx) and not (request.htmx.boosted or request.htmx.history_restore_request)


def page_or_part(request, template, part, context=None, *, status=200):
    """The whole page, or the partial named `part` of the same template when htmx asked."""
    if wants_part(request):
        template = f"{template}#{part}"
    response = render(request, template, context, status=status)
    patch_vary_headers(response, ["HX-Request"])
    return response


def go(request, to, *args, **kwargs):
    """Redirect with or without script; `to` is what django.shortcuts.redirect takes."""
    response = redirect(to, *args, **kwargs)
    return HttpResponseClientRedirect(response.url) if wants_part(request) else response
