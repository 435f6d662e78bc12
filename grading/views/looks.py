"""Pages about looks: beginning one, superseding one, reading one, and all of an animal."""

from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from grading import look_changes as changes
from grading import look_reading as reading
from grading.forms.looks import StartForm, SupersedeForm
from grading.look_plots import pair_plot
from grading.look_sheet import LookSheet
from grading.models import Look, Mode
from grading.points.reading import Points, with_points
from herds.models import Animal
from herds.units import weight_words
from herds.words import age_words

from .doors import CLOSED, answer_instead, get_own_look

SHOWN_AT_ONCE = 50


@require_http_methods(["GET", "POST"])
@sent_once
def look_create(request, pk):
    """Begin a look: in hand or from photos, and the light."""
    animal = get_object_or_404(Animal.objects.gradable_by(request.user).select_related("herd", "breed"), pk=pk)
    form = StartForm(request.POST or None, animal=animal, member=request.user)
    if form.is_valid() and (look := form.begin()):
        return go(request, "look-section", look.pk, 1)
    context = {"animal": animal, "form": form, "todays": todays_looks(animal, request.user)}
    return page_or_part(request, "grading/look_create.html", "form", context, status=422 if form.errors else 200)


def todays_looks(animal, member):
    """What the member may go on with: the looks begun today, else the last one finished today."""
    looks = list(Look.objects.filter(animal=animal, observer=member, editable_until__gt=timezone.now()))
    return [look for look in looks if look.is_open] or looks[:1]


@require_http_methods(["GET", "POST"])
@sent_once
def look_supersede(request, pk):
    """Begin a look that takes the place of the member's own earlier one, with the reason."""
    earlier = get_own_look(request.user, pk)
    if not earlier.may_grade:
        return answer_instead(request, 404, earlier, CLOSED)
    if later := Look.objects.filter(supersedes=earlier).first():
        return redirect("look-section", later.pk, 1) if later.is_open else redirect(later)
    if earlier.editable_until > timezone.now():
        return redirect("look-section", earlier.pk, 1)
    form = SupersedeForm(request.POST or None, animal=earlier.animal, member=request.user)
    if form.is_valid() and (look := form.begin_instead_of(earlier)):
        return go(request, "look-section", look.pk, 1)
    context = {"animal": earlier.animal, "form": form, "earlier": earlier}
    return page_or_part(request, "grading/look_create.html", "form", context, status=422 if form.errors else 200)


@require_safe
def look_detail(request, pk):
    """One look with all its answers, what changed since the one before, and who is next."""
    looks = Look.objects.visible_to(request.user).select_related(
        "animal__herd", "observer", "profile", "age_class", "supersedes", "superseded_by", "points_sheet"
    )
    look = get_object_or_404(reading.with_access(looks, request.user), pk=pk)
    return page_or_part(request, "grading/look_detail.html", "look", detail_context(look, request.user))


@require_safe
def look_list(request, pk):
    """The looks of an animal that the member may see, newest first, with surface and undercolor against age."""
    animal = get_object_or_404(Animal.objects.visible_to(request.user).select_related("herd"), pk=pk)
    looks = Look.objects.visible_to(request.user).finished().filter(animal=animal)
    page = Paginator(looks.select_related("observer", "age_class", "points_sheet"), SHOWN_AT_ONCE).get_page(
        request.GET.get("page")
    )
    may_grade = Animal.objects.gradable_by(request.user).filter(pk=animal.pk).exists()
    page = with_ages(page, animal)
    any_points = any(look.points_words for look in page)
    context = {"animal": animal, "page": page, "any_points": any_points, "may_grade": may_grade}
    return page_or_part(request, "grading/look_list.html", "looks", context | reading.over_time(animal, looks))


def detail_context(look, member):
    """What templates/grading/look_detail.html draws."""
    sheet = LookSheet(look)
    earlier = reading.earlier_look(look, member)
    mine = look.observer_id == member.pk
    can_change = mine and look.editable_until > timezone.now()
    reads_weight, reads_note = reading.may_read_weight(look, member), reading.may_read_note(look, member)
    after, waiting = reading.next_animal(look, member) if can_change and look.finished_at else (None, 0)
    return {
        "look": look,
        "sections": reading.sheet_in_words(sheet),
        "provisional": changes.why_provisional(look),
        "disqualifying": [each for each in seen(sheet) if each["effect"] == "disqualifies"],
        "age": age_words(look.animal.born_on, look.observed_on),
        "weight": weight_words(look.grams, member.weight_unit) if reads_weight else "",
        "note": look.note if reads_note else "",
        "points": points_of(look, sheet, member.weight_unit, reads_weight, reads_note),
        "can_give_points": can_change and look.mode == Mode.IN_HAND,
        "earlier": earlier,
        "changed": changes.changed_words(earlier, look) if earlier and look.finished_at else "",
        "goal_words": changes.goal_words(look, sheet.goals, sheet.goals_without_leeway),
        "plot": pair_plot(earlier, look, sheet.goals),
        "plot_columns": reading.COLUMNS,
        "plot_rows": [reading.numbers(each, look.animal) for each in (earlier, look) if each],
        "can_change": can_change,
        "can_supersede": mine and not can_change and not hasattr(look, "superseded_by"),
        "after": after,
        "waiting": waiting,
    }


def points_of(look, sheet, unit, reads_weight, reads_note):
    """The look's points sheet; None when nobody gave points."""
    if not hasattr(look, "points_sheet"):
        return None
    return Points(look, sheet, unit=unit, reads_weight=reads_weight, reads_note=reads_note)


def seen(sheet):
    return [each for each in sheet.findings() if each["state"] == "seen"]


def with_ages(page, animal):
    for look in page:
        look.animal = animal
    for look in with_points(page):
        look.age = age_words(animal.born_on, look.observed_on)
        look.why_provisional = changes.why_provisional(look)
    return page
