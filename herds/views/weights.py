"""Pages of weights: one weighing, many in a row, and an animal's history."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.htmx import wants_part
from clubsite.members.sent_once import sent_once
from herds.actions.weights import record_weight, remove_weight
from herds.forms.weights import WeightForm
from herds.growth import weighings, weights_of_animal
from herds.models import Animal, Herd, Kit, Litter, Weight
from herds.units import weight_words
from herds.weighing import row_of_thing, rows_of_herd, rows_of_litter
from herds.words import count_words, day_words

THINGS = {"animal": Animal, "kit": Kit, "litter": Litter}


@sent_once
@require_http_methods(["GET", "POST"])
def weight_create(request):
    """Weigh one animal, kit or litter, named in the address."""
    which, thing = _named_thing(request)
    unit = request.user.weight_unit
    initial = {"on": timezone.localdate()} | ({"count": _count(thing)} if which == "litter" else {})
    form = WeightForm(request.POST or None, unit=unit, of_litter=which == "litter", initial=initial)
    if form.is_valid():
        found = form.cleaned_data
        given = {name: found[name] for name in ("on", "note", "count") if name in found}
        weight = form.carry_out(
            record_weight, by=request.user, grams=found["weight"], confirmed=form.confirmed, **{which: thing}, **given
        )
        if weight:
            messages.success(request, f"{thing}: {weight_words(weight.grams, unit)} on {day_words(weight.on)}.")
            return redirect(_home(thing))
    context = {"form": form, "thing": thing, "home": _home(thing)}
    return render(request, "herds/weight_form.html", context, status=form.status)


def _named_thing(request):
    for which, model in THINGS.items():
        pk = request.GET.get(which, "")
        if pk.isdecimal() and len(pk) < 19:
            things = model.objects.editable_by(request.user)
            return which, get_object_or_404(things, pk=pk)
    raise Http404


def _count(litter):
    return litter.kits.filter(died_on__isnull=True, fostered_to__isnull=True).count() or None


def _home(thing):
    """Where a weighing of this thing is read."""
    if isinstance(thing, Animal):
        return reverse("weight-list", args=[thing.pk])
    return reverse("litter-detail", args=[thing.pk if isinstance(thing, Litter) else thing.litter_id])


@require_GET
def weight_list(request, pk):
    """An animal's weights with the gain per day, for those who may read them."""
    animal = get_object_or_404(Animal.objects.visible_to(request.user).select_related("herd"), pk=pk)
    kept = Animal.objects.editable_by(request.user).filter(pk=pk).exists()
    rows = weighings(weights_of_animal(animal, Weight.objects.visible_to(request.user)), animal.born_on)
    if not kept and not rows:
        raise Http404
    context = {"animal": animal, "rows": rows, "may_edit": kept}
    return render(request, "herds/weight_list.html", context)


@require_http_methods(["GET", "POST"])
def weight_delete(request, pk):
    weights = Weight.objects.editable_by(request.user).select_related("animal", "kit__litter__dam", "litter__dam")
    weight = get_object_or_404(weights, pk=pk)
    thing = weight.animal or weight.kit or weight.litter
    if request.method == "POST":
        remove_weight(weight=weight, by=request.user)
        messages.success(request, f"The weight of {thing} on {day_words(weight.on)} is removed.")
        return redirect(_home(thing))
    words = weight_words(weight.grams, request.user.weight_unit)
    context = {
        "title": "Remove a weight?",
        "text": f"{thing}: {words} on {day_words(weight.on)} goes out of the log. This cannot be undone.",
        "confirm_label": "Remove it",
        "cancel_url": _home(thing),
        "danger": True,
    }
    return render(request, "confirm.html", context)


@require_GET
def weigh(request):
    """What to weigh: a herd's animals, or a litter that is not yet marked."""
    herds = Herd.objects.kept_by(request.user)
    litters = Litter.objects.editable_by(request.user).filter(kits__animal__isnull=True, kits__died_on__isnull=True)
    litters = litters.select_related("dam", "herd").distinct()[:20]
    return render(request, "herds/weigh.html", {"herds": herds, "litters": litters})


@require_http_methods(["GET", "POST"])
def weigh_herd(request, slug):
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    return _weigh_sheet(request, rows_of_herd, herd, herd.get_absolute_url(), herd.name)


@require_http_methods(["GET", "POST"])
def weigh_litter(request, pk):
    litter = get_object_or_404(Litter.objects.editable_by(request.user).select_related("dam", "herd"), pk=pk)
    return _weigh_sheet(request, rows_of_litter, litter, litter.get_absolute_url(), f"the litter of {litter.dam}")


def _weigh_sheet(request, load, source, home, name):
    """One weight field for each; each row is saved as it is left, and all of them by the button."""
    day = timezone.localdate()
    rows = load(source, member=request.user, day=day, data=request.POST if request.method == "POST" else None)
    if request.method == "POST":
        given = [row for row in rows if row.given()]
        saved = [row for row in given if row.save(by=request.user)]
        if all(not row.error for row in rows):
            messages.success(request, f"{count_words(len(saved), 'weight')} saved.")
            return redirect(home)
    refused = any(row.error for row in rows)
    context = {"rows": rows, "home": home, "name": name, "day": day, "refused": refused}
    return render(request, "herds/weigh_sheet.html", context, status=422 if refused else 200)


@require_POST
def weigh_row(request, which, pk):
    """One row of the weigh screen, saved by itself; answers with the row."""
    if which not in THINGS:
        raise Http404
    thing = get_object_or_404(THINGS[which].objects.editable_by(request.user), pk=pk)
    row = row_of_thing(which, thing, member=request.user, day=timezone.localdate(), data=request.POST)
    if row.given():
        row.save(by=request.user)
    if not wants_part(request):
        return redirect(_home(thing))
    return render(request, "herds/weigh_sheet.html#row", {"row": row}, status=422 if row.error else 200)
