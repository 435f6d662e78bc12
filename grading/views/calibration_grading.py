"""Grading a calibration set, place by place, and reading one's own result."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.htmx import wants_part
from grading import photo_serving as serving
from grading.actions import calibration as actions
from grading.actions.calibration_news import mark_seen
from grading.calibrating import reading
from grading.look_sheet import step_of
from grading.models import CalibrationAnswer, CalibrationItem, CalibrationSet, Seat, SetState


def seen_set(request, pk):
    return get_object_or_404(CalibrationSet.objects.visible_to(request.user).select_related("breed"), pk=pk)


def over(request, of_set):
    messages.info(request, actions.OVER)
    return redirect(of_set)


@require_POST
def seat_take(request, pk):
    """Begin, or go on where one stopped."""
    of_set = seen_set(request, pk)
    try:
        seat = actions.take_seat(of_set=of_set, by=request.user)
        mark_seen(of_set=of_set, member=request.user)
    except ValidationError:
        return over(request, of_set)
    position = reading.next_open(reading.places(of_set, seat))
    if position is None:
        return redirect("calibration-finish", pk)
    return redirect("calibration-place", pk, position)


@require_http_methods(["GET", "POST"])
def place(request, pk, position):
    """One place: its photos and its scales. A POST saves all of it, which is how it works without script."""
    of_set = seen_set(request, pk)
    seat = get_object_or_404(Seat, of=of_set, member=request.user)
    if not CalibrationSet.objects.gradable_by(request.user).filter(pk=pk).exists():
        return over(request, of_set)
    item = of_set.items.standing().prefetch_related("photos").filter(position=position).first()
    if item is None:
        return gone(request, of_set, seat, position)
    error = ""
    if request.method == "POST":
        try:
            save_all(request, of_set, seat, item)
            onward = reading.next_open(reading.places(of_set, seat), after=position)
            return redirect("calibration-place", pk, onward) if onward else redirect("calibration-finish", pk)
        except ValidationError as refusal:
            error = " ".join(refusal.messages)
    places = reading.places(of_set, seat)
    context = {
        "set": of_set,
        "item": item,
        "photos": reading.photos_of(item),
        "scales": reading.scales(of_set, seat, item),
        "error": error,
        **walk(places, position),
    }
    return render(request, "grading/calibration_place.html", context, status=422 if error else 200)


def walk(places, position):
    """Where one is: the number of this place among those that stand, how many are done, and the neighbours."""
    order = [each for each, _ in places]
    here = order.index(position)
    return {
        "number": here + 1,
        "total": len(order),
        "done": sum(1 for _, full in places if full),
        "before": order[here - 1] if here else None,
        "after": order[here + 1] if here + 1 < len(order) else None,
    }


def gone(request, of_set, seat, position):
    """The place was taken back by its owner, or never was: on to the next."""
    if not of_set.items.filter(position=position).exists():
        raise Http404
    messages.info(request, "The owner took these photos back, so they are not graded any more.")
    onward = reading.next_open(reading.places(of_set, seat), after=position)
    return redirect("calibration-place", of_set.pk, onward) if onward else redirect("calibration-finish", of_set.pk)


def save_all(request, of_set, seat, item):
    """Every answer of the form; those left open stay as they are."""
    answers = [
        (trait, step_of(trait, request.POST[trait.code])) for trait in of_set.traits.all() if trait.code in request.POST
    ]
    if answers:
        actions.save_answers(seat=seat, item=item, answers=answers, by=request.user)


@require_POST
def answer(request, pk, position):
    """One touch on a scale; answers the scale as it stands now."""
    of_set = seen_set(request, pk)
    seat = get_object_or_404(Seat, of=of_set, member=request.user)
    item = get_object_or_404(of_set.items, position=position)
    trait = of_set.traits.filter(code=request.GET.get("trait", "")).first()
    if trait is None or not wants_part(request):
        return redirect("calibration-place", pk, position)
    saved = error = ""
    try:
        step = step_of(trait, request.POST.get(trait.code, ""))
        actions.save_answers(seat=seat, item=item, answers=[(trait, step)], by=request.user)
        saved = "Saved"
    except ValidationError as refusal:
        error = " ".join(refusal.messages)
    given = CalibrationAnswer.objects.filter(seat=seat, item=item, trait=trait).first()
    row = reading.rows_of(of_set).get(trait.pk)
    scale = reading.scale(of_set, position, trait, row, given, saved=saved, error=error)
    return render(request, "components/scale.html", {"scale": scale}, status=422 if error else 200)


@require_http_methods(["GET", "POST"])
def finish(request, pk):
    """What is still open, and saying that one is done."""
    of_set = seen_set(request, pk)
    seat = get_object_or_404(Seat, of=of_set, member=request.user)
    if request.method == "POST":
        try:
            actions.finish_seat(seat=seat, by=request.user)
        except ValidationError:
            return over(request, of_set)
        messages.success(
            request, f"Thank you. Your result comes when the set closes, after {of_set.closes_on:%-d %B %Y}."
        )
        return redirect("calibration-list")
    places = reading.places(of_set, seat)
    left = [(number, position) for number, (position, full) in enumerate(places, 1) if not full]
    context = {"set": of_set, "seat": seat, "left": left, "total": len(places)}
    return render(request, "grading/calibration_finish.html", context)


@require_safe
def result(request, pk):
    """One's own result: what one sees alike, how one leans, and the photos on which one differs most."""
    of_set = seen_set(request, pk)
    seat = get_object_or_404(Seat.objects.select_related("of__breed"), of=of_set, member=request.user)
    if of_set.state != SetState.DONE:
        return redirect(of_set)
    mark_seen(of_set=of_set, member=request.user)
    context = {"set": of_set, "seat": seat, "results": reading.own_result(seat), "widest": reading.widest(seat)}
    context["member"] = request.user
    return render(request, "grading/calibration_result.html", context)


@require_POST
def show_name(request, pk):
    """Let officers read the result with one's name, or not."""
    seat = get_object_or_404(Seat, of=seen_set(request, pk), member=request.user)
    shows = request.POST.get("shows") == "yes"
    actions.show_name(seat=seat, shows=shows, by=request.user)
    said = "Officers read your result with your name." if shows else "Officers do not see your name."
    messages.success(request, said)
    return redirect("calibration-result", pk)


@require_safe
def photo(request, item, place, size):
    """A photo of a set, for those who grade it or read its result, and for officers; it says nothing of the animal."""
    rows = CalibrationItem.objects.standing().filter(of__in=CalibrationSet.objects.visible_to(request.user))
    found = get_object_or_404(rows.select_related("of").prefetch_related("photos"), pk=item)
    seated = Seat.objects.filter(of=found.of_id, member=request.user).exists()
    shown = reading.photo_at(found, place)
    if shown is None or size not in ("320", "1024", "2048") or not (seated or request.user.is_officer):
        raise Http404
    return serving.answer(request, shown, size, called=f"calibration place {found.position} view {place + 1}")
