"""Editing an animal's card, correcting its identity, and its marks."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_http_methods

from clubsite.forms import carried_out, posted, refuse
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from clubsite.versions import StalePage
from herds.actions.identity import edit_animal
from herds.actions.marks import add_mark, replace_mark
from herds.forms.animals import EditForm, MarkForm, ReplaceMarkForm
from herds.models import Animal, Mark

CARD = ("herd", "bred_in", "sire__bred_in", "dam__bred_in", "breed")


@require_http_methods(["GET", "POST"])
@sent_once
def animal_update(request, pk):
    """The keeper's form; also open to whoever entered an ancestor outside the club."""
    animal = get_object_or_404(Animal.objects.card_editable_by(request.user).select_related(*CARD), pk=pk)
    return _edit(request, animal, "herds/animal_form.html")


@require_http_methods(["GET", "POST"])
@sent_once
def animal_correct(request, pk):
    """The registrar's form: identity only, with a reason."""
    animal = get_object_or_404(Animal.objects.identity_editable_by(request.user).select_related(*CARD), pk=pk)
    return _edit(request, animal, "herds/animal_correct.html")


def _edit(request, animal, template):
    form = EditForm(posted(request), member=request.user, animal=animal)
    saved, status = [], 200
    if form.is_valid():
        try:
            edit_animal(animal=animal, by=request.user, **form.given())
        except StalePage as stale:
            refuse(form, stale)
            saved, status = _beside(form, animal), 409
        except ValidationError as error:
            refuse(form, error)
        else:
            animal.refresh_from_db()
            messages.success(request, f"{animal} is saved.")
            return go(request, animal)
    context = {"form": form, "animal": animal, "saved": saved, "stale": status == 409}
    return page_or_part(request, template, "form", context, status=422 if form.errors and status == 200 else status)


def _beside(form, animal):
    """What was typed and what somebody saved meanwhile, where they differ; saving again is then done knowingly."""
    fresh = Animal.objects.select_related(*CARD).get(pk=animal.pk)
    form.data = form.data.copy()
    form.data["version"] = str(fresh.version)
    return form.beside(fresh)


@require_http_methods(["GET", "POST"])
@sent_once
def mark_create(request, pk):
    """A further mark: ring, right ear, registration number, or the first tattoo."""
    animal = get_object_or_404(Animal.objects.markable_by(request.user), pk=pk)
    form = MarkForm(posted(request), animal=animal)
    if form.is_valid():
        values = form.cleaned_data | {"text": form.cleaned_data["mark"]}
        values.pop("mark")
        mark = carried_out(form, add_mark, animal=animal, by=request.user, **values)
        if mark:
            messages.success(request, f"{animal} has the {mark.get_kind_display()} {mark}.")
            return go(request, animal)
    context = {"form": form, "animal": animal, "marks": animal.marks.current()}
    return page_or_part(request, "herds/mark_form.html", "form", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@sent_once
def mark_replace(request, pk):
    """A new mark in place of an old one, which stays readable."""
    marks = Mark.objects.current().filter(animal__in=Animal.objects.markable_by(request.user))
    mark = get_object_or_404(marks.select_related("animal"), pk=pk)
    animal = mark.animal
    form = ReplaceMarkForm(posted(request))
    if form.is_valid():
        values = form.cleaned_data | {"text": form.cleaned_data["mark"]}
        values.pop("mark")
        if carried_out(form, replace_mark, mark=mark, by=request.user, **values):
            messages.success(
                request, f"The {mark.get_kind_display()} {mark} is replaced. It stays readable on the page."
            )
            return go(request, animal)
    context = {"form": form, "animal": animal, "mark": mark}
    return page_or_part(request, "herds/mark_replace.html", "form", context, status=422 if form.errors else 200)
