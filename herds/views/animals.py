"""Finding animals, logging one, and the page of one animal."""

import re
from urllib.parse import urlencode

from django.contrib import messages
from django.db.models import Exists, F, OuterRef, Prefetch, Q, Value
from django.db.models.functions import Lower, NullIf
from django.http import HttpResponseBadRequest
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from clubsite.forms import carried_out, posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from clubsite.paging import LongPaginator
from herds.actions.animals import change_status, log_animal
from herds.csv_file import club_cells, csv_response
from herds.finding import matching, one_space, suggested
from herds.forms.animals import LogForm
from herds.forms.care import StatusForm
from herds.forms.choosing import SHOWN, AnimalField, answers
from herds.forms.listing import AnimalFilter
from herds.models import Animal, Herd, Line, Mark, Sex, Status
from herds.panels import animal_actions, animal_panels
from herds.views.merges import merged_into

A_PAGE = 50
ORDERS = {
    "name": (NullIf(Lower("name"), Value("")).asc(nulls_last=True),),
    "born": (F("born_on").asc(nulls_last=True),),
    "-born": (F("born_on").desc(nulls_last=True),),
}
FIELD = re.compile(r"[a-z][a-z0-9_-]{0,39}")


@require_GET
def animal_list(request):
    """Any animal of the club by its card."""
    filters = AnimalFilter(request.GET)
    animals, related = _found(request, filters.cleaned_data)
    page = LongPaginator(animals.select_related("herd", "bred_in"), A_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "filters": filters, **related}
    return page_or_part(request, "herds/animal_list.html", "animals", context)


@require_GET
def animal_csv(request):
    """The cards that were found, for a spreadsheet."""
    animals, _ = _found(request, AnimalFilter(request.GET).cleaned_data)
    return csv_response("animals", club_cells(), animals.select_related("herd", "bred_in", "sire", "dam"))


def _found(request, asked):
    """The animals that the filter asks for, in its order, and the parent and line that they are of."""
    animals = matching(Animal.objects.visible_to(request.user), asked["q"])
    for word in asked["breeder"].split():
        bred = Q(bred_in__prefix__icontains=word) | Q(bred_in__name__icontains=word) | Q(breeder_name__icontains=word)
        animals = animals.filter(bred)
    if asked["sex"]:
        animals = animals.filter(sex=asked["sex"])
    if asked["year"]:
        animals = animals.filter(born_on__year=asked["year"])
    parent = Animal.objects.visible_to(request.user).filter(pk=asked["parent"]).first() if asked["parent"] else None
    if parent:
        animals = animals.filter(Q(sire=parent) | Q(dam=parent))
    line = Line.objects.visible_to(request.user).filter(pk=asked["line"]).first() if asked["line"] else None
    if asked["line"]:
        animals = animals.filter(pk__in=line.members().values("pk")) if line else animals.none()
    order = asked["sort"] or ("-born" if parent else "")
    animals = animals.order_by(*ORDERS[order], "pk") if order else animals.by_mark()
    return animals, {"parent": parent, "line": line}


@require_GET
def animal_suggest(request):
    """What a typed text may mean, as radios under the field that asked."""
    name, sex = request.GET.get("field", ""), request.GET.get("sex", "")
    if not FIELD.fullmatch(name) or sex not in ("", *Sex.values):
        return HttpResponseBadRequest("Unknown field.")
    text = one_space(request.GET.get(name, ""))[:80]
    field = AnimalField(sex=sex)
    field.ask(request.user, Animal.objects.visible_to(request.user))
    found = suggested(field.fitting(), text, request.user, SHOWN) if text else []
    value = {"text": text, "name": "" if any(map(str.isdigit, text)) else text}
    may_add = "add" in request.GET and bool(text)
    context = answers(name, value, found, sex=sex, may_add=may_add, nothing=bool(text) and not found)
    return render(request, "herds/animal_answers.html", {"answers": context})


@require_http_methods(["GET", "POST"])
@sent_once
def animal_create(request):
    """Log an animal of one of the member's herds."""
    herds = Herd.objects.kept_by(request.user).filter(closed_on__isnull=True)
    if not herds:
        return render(request, "herds/animal_no_herd.html")
    herd = herds.filter(slug=request.GET.get("herd", "")).first() or herds[0]
    form = LogForm(posted(request), member=request.user, herd=herd, initial=_carried(request))
    if form.is_valid():
        animal = carried_out(form, log_animal, by=request.user, **form.given())
        if animal:
            messages.success(request, f"{animal} is logged.")
            return go(request, _next_address(animal)) if "another" in request.POST else go(request, animal)
    context = {"form": form, "herd": herd}
    return page_or_part(request, "herds/animal_create.html", "form", context, status=422 if form.errors else 200)


def _carried(request):
    """What the last animal logged and the next have in common: the day of birth and the parents."""
    initial = {name: request.GET[name] for name in ("born_on", "sex") if name in request.GET}
    keys = {role: request.GET.get(role, "") for role in ("sire", "dam")}
    keys = {role: int(key) for role, key in keys.items() if key.isdecimal() and len(key) < 19}
    parents = Animal.objects.visible_to(request.user).select_related("bred_in").in_bulk(keys.values()) if keys else {}
    return initial | {role: parents[key] for role, key in keys.items() if key in parents}


def _next_address(animal):
    carried = {"herd": animal.herd.slug, "born_on": animal.born_on, "sire": animal.sire_id, "dam": animal.dam_id}
    return f"{reverse('animal-create')}?{urlencode({key: value for key, value in carried.items() if value})}"


@require_GET
def animal_detail(request, pk):
    """The card for everybody; what its keeper and the apps above add, for those who may see it."""
    animals = Animal.objects.visible_to(request.user)
    known = animals.outcome_known_to(request.user).filter(pk=OuterRef("pk"))
    marks = Prefetch("marks", Mark.objects.as_read().select_related("replaced_by"), to_attr="all_marks")
    animals = animals.annotate(
        is_kept=Exists(Animal.objects.kept_by(request.user).filter(pk=OuterRef("pk"))),
        card_is_mine=Exists(Animal.objects.card_editable_by(request.user).filter(pk=OuterRef("pk"))),
        outcome_shown=Exists(known),
    ).with_decision()
    animals = animals.select_related("herd", "bred_in", "breed", "sire__bred_in", "dam__bred_in")
    animal = animals.prefetch_related(marks).filter(pk=pk).first()
    if animal is None:
        return merged_into(request, pk)
    owners = Herd.objects.with_owners().get(pk=animal.herd_id).owner_names if animal.herd_id else []
    context = {
        "animal": animal,
        "owners": owners,
        "panels": animal_panels(request, animal),
        "actions": animal_actions(request, animal),
        "may_mark": animal.card_is_mine or request.user.is_registrar,
    }
    return render(request, "herds/animal_detail.html", context)


@require_http_methods(["GET", "POST"])
@sent_once
def animal_status(request, pk):
    """Where the animal is now, in neutral words."""
    animal = get_object_or_404(Animal.objects.editable_by(request.user).select_related("herd"), pk=pk)
    form = StatusForm(
        posted(request),
        initial={"status": animal.status, "note": animal.status_note},
    )
    if form.is_valid() and form.carry_out(
        change_status, animals=[animal], by=request.user, confirmed=form.confirmed, **form.cleaned_data
    ):
        messages.success(request, f"{animal}: {Status(form.cleaned_data['status']).label}.")
        return go(request, animal)
    back = animal.get_absolute_url()
    context = {"form": form, "animals": [animal], "animal": animal, "herd": animal.herd, "back": back}
    return page_or_part(request, "herds/animal_status.html", "form", context, status=form.status)
