"""Lines: the list, one line with what its animals look like, and making, changing and taking one away."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Count, Exists, OuterRef, Q
from django.db.models.expressions import RawSQL
from django.db.models.functions import ExtractYear
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.columns import array_text
from clubsite.forms import carried_out, differing, posted, refuse
from clubsite.members.sent_once import sent_once
from clubsite.versions import StalePage
from grading.comparing.descent import line_animals
from grading.comparing.lines import line_looks
from herds.actions import lines as actions
from herds.forms.lines import PARTS, LineAnimalForm, LineForm
from herds.models import PRESENT, Animal, Line, LinePart

A_PAGE = 40
NEWEST = 24


@require_safe
def line_list(request):
    """My lines, and those that others share with the club."""
    mine = Exists(Line.objects.editable_by(request.user).filter(pk=OuterRef("pk")))
    lines = Line.objects.visible_to(request.user).select_related("foundation", "owner", "herd").annotate(mine=mine)
    page = Paginator(lines.order_by("-mine", *Line._meta.ordering), A_PAGE).get_page(request.GET.get("page"))
    return render(request, "grading/line_list.html", {"page": page})


@require_safe
def line_detail(request, pk):
    """A line's animals by number and year, and the two-way plot of those whose looks one may see."""
    lines = Line.objects.visible_to(request.user).select_related("foundation", "owner", "herd")
    line = get_object_or_404(lines, pk=pk)
    may_edit = Line.objects.editable_by(request.user).filter(pk=pk).exists()
    return render(request, "grading/line_detail.html", _page(request, line, may_edit))


def _page(request, line, may_edit, form=None):
    _, animals = line_animals([line.pk])  # found once: a line may hold most of a large club
    found = RawSQL("SELECT unnest(%s::bigint[])", [array_text(animals)])
    members = Animal.objects.filter(pk__in=found)
    years = members.order_by().annotate(year=ExtractYear("born_on")).values("year")
    years = list(years.annotate(many=Count("pk"), here=Count("pk", filter=Q(status__in=PRESENT))))
    named = line.named_animals.select_related("animal")
    return {
        "line": line,
        "may_edit": may_edit,
        "form": form or (LineAnimalForm(None, member=request.user, line=line) if may_edit else None),
        "years": sorted(((row["year"], row["many"]) for row in years), key=lambda row: (row[0] is None, row[0])),
        "total": sum(row["many"] for row in years),
        "plot_columns": ["Animal", "Surface shade", "Undercolor"],
        "here": sum(row["here"] for row in years),
        "newest": members.select_related("bred_in").order_by("-born_on", "-pk")[:NEWEST],
        "named": [(PARTS[LinePart(row.part)], row.animal) for row in named],
        **line_looks(line, animals, request.user),
    }


@require_http_methods(["GET", "POST"])
@sent_once
def line_create(request):
    """Make a line; `?foundation=` names the animal that it goes back to."""
    asked = request.GET.get("foundation", "")
    found = (
        Animal.objects.visible_to(request.user).filter(pk=int(asked)) if asked.isdecimal() and len(asked) < 19 else ()
    )
    initial = {"foundation": found[0]} if found else {}
    form = LineForm(posted(request), member=request.user, initial=initial)
    if form.is_valid():
        form.cleaned_data.pop("version")
        if line := carried_out(form, actions.create_line, by=request.user, **form.cleaned_data):
            messages.success(request, f"The line {line} is made.")
            return redirect(line)
    return render(request, "grading/line_form.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def line_update(request, pk):
    """Change what a line is; what somebody else saved meanwhile is shown and not overwritten."""
    line = actions.editable_line(pk, request.user)
    form = LineForm(posted(request), member=request.user, line=line)
    saved, status = [], 422 if form.errors else 200
    if form.is_valid():
        try:
            actions.change_line(line=line, by=request.user, **form.cleaned_data)
            messages.success(request, f"The line {line} is saved.")
            return redirect("line-detail", pk=pk)
        except StalePage as stale:
            now = actions.editable_line(pk, request.user)
            form.add_error(None, stale)
            form.data = form.data.copy()
            form.data["version"] = now.version
            saved, status = differing(form, now), 409
        except ValidationError as error:
            refuse(form, error)
            status = 422
    line = actions.editable_line(pk, request.user)
    return render(request, "grading/line_form.html", {"form": form, "line": line, "saved": saved}, status=status)


@require_http_methods(["GET", "POST"])
def line_delete(request, pk):
    """Take a line away; GET asks first."""
    line = actions.editable_line(pk, request.user)
    if request.method == "POST":
        actions.delete_line(line=line, by=request.user)
        messages.success(request, f"The line {line} is taken away. Its animals stay as they are.")
        return redirect("line-list")
    context = {
        "title": f"Take the line {line} away?",
        "text": "Its name, its rule and what was said of single animals are lost, and this cannot be undone. "
        "Its animals, their looks and their photos stay as they are.",
        "confirm_label": "Take it away",
        "cancel_url": line.get_absolute_url(),
        "danger": True,
    }
    return render(request, "confirm.html", context)


@require_POST
def line_name(request, pk):
    """Say what one animal is to the line."""
    line = actions.editable_line(pk, request.user)
    form = LineAnimalForm(request.POST, member=request.user, line=line)
    if form.is_valid() and carried_out(form, actions.name_animal, line=line, by=request.user, **form.cleaned_data):
        messages.success(request, f"{form.cleaned_data['animal']} {PARTS[LinePart(form.cleaned_data['part'])]}.")
        return redirect(f"{line.get_absolute_url()}#named")
    return render(request, "grading/line_detail.html", _page(request, line, True, form), status=422)


@require_POST
def line_unname(request, pk, animal):
    """Take back what was said of an animal; Undo says it again."""
    line = actions.editable_line(pk, request.user)
    animal = get_object_or_404(Animal.objects.visible_to(request.user), pk=animal)
    part = actions.unname_animal(line=line, animal=animal, by=request.user)
    if part:
        undo = reverse("line-rename", args=[line.pk, animal.pk, part])
        messages.success(request, f"Nothing is said of {animal} in {line} any more.", extra_tags=undo)
    return redirect(f"{line.get_absolute_url()}#named")


@require_POST
def line_rename(request, pk, animal, part):
    """Say again what had been taken back."""
    line = actions.editable_line(pk, request.user)
    animal = get_object_or_404(Animal.objects.visible_to(request.user), pk=animal)
    try:
        actions.name_animal(line=line, animal=animal, part=part, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect(f"{line.get_absolute_url()}#named")
