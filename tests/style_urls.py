"""The site's addresses, the style page, and a page of small forms to try static/js/base.js on."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.template import engines
from django.urls import path

from clubsite.styleguide import styleguide
from clubsite.urls import urlpatterns as site

TRY = """{% extends "base.html" %}{% block title %}Try{% endblock %}
{% block heading %}{% include "components/page_header.html" with title="Try" %}{% endblock %}
{% block main %}<div class="stack">
<form id="breaks" class="form" hx-post="/answer/503/" hx-target="this">
  <label>Note <input name="note"></label><button>Send</button></form>
<form id="refused" class="form" hx-post="/answer/422/" hx-target="this" hx-swap="outerHTML"><button>Send</button></form>
<form id="asked" class="form" method="post" action="/answer/200/">{% csrf_token %}
  <button name="go" value="yes" data-confirm="Let FL12 go?">Let go</button></form>
<form id="twice" class="form" method="post" action="/answer/204/">{% csrf_token %}
  <button name="go" value="once">Save</button></form>
<button type="button" id="again" hx-post="/answer/200/" hx-trigger="click, retry"
  hx-target="#out" data-retry>Step 5</button>
<p id="out"></p></div>{% endblock %}"""


@login_not_required
def try_page(request):
    return HttpResponse(engines["django"].from_string(TRY).render({}, request))


@login_not_required
def answer(request, status):
    body = f"answered {request.POST.get('go', '')}"
    if status == 422:
        body = '<form id="refused"><div class="form-errors" role="alert" tabindex="-1">Not a date.</div></form>'
    return HttpResponse(body, status=status)


urlpatterns = [
    path("styleguide/", styleguide),
    path("try/", try_page),
    path("answer/<int:status>/", answer),
    *site,
]
