"""Calibration sets: the list for everybody, and the officers' desk where one is put together, opened and read."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.forms import carried_out, posted
from clubsite.members.guards import officers_only
from clubsite.members.sent_once import sent_once
from grading.actions import calibration as actions
from grading.actions.calibration_news import mark_seen
from grading.calibrating import choosing, reading
from grading.forms.calibration import LastDayForm, SetForm
from grading.models import CalibrationSet, Seat, SetState
from grading.views.sires import chosen_breed
from herds.models import Breed, Herd


@require_safe
def calibration_list(request):
    """Sets that wait for the member, and those that are over with the member's results."""
    sets = CalibrationSet.objects.visible_to(request.user).select_related("breed")
    seats = {seat.of_id: seat for seat in Seat.objects.filter(member=request.user)}
    rows = [{"set": each, "seat": seats.get(each.pk)} for each in sets]
    open_now = set(CalibrationSet.objects.gradable_by(request.user).values_list("pk", flat=True))
    context = {"rows": rows, "open_now": open_now, "herds": Herd.objects.kept_by(request.user), "states": SetState}
    return render(request, "grading/calibration_list.html", context)


@require_http_methods(["GET", "POST"])
@officers_only
@sent_once
def calibration_create(request):
    """A new set; its photos are proposed from those whose owners agreed."""
    breed = chosen_breed(request)
    form = SetForm(posted(request), breed=breed)
    if form.is_valid():
        made = carried_out(form, actions.make_set, breed=breed, by=request.user, **form.cleaned_data)
        if made:
            return redirect(made)
    context = {"form": form, "breed": breed, "breeds": Breed.objects.all()}
    context["found"] = choosing.candidates(breed.pk) if breed else []
    return render(request, "grading/calibration_form.html", context, status=422 if form.errors else 200)


@require_safe
def calibration_detail(request, pk):
    """The officers' desk of a set; for others, what the set is and their own part in it."""
    of_set = get_object_or_404(CalibrationSet.objects.visible_to(request.user).select_related("breed"), pk=pk)
    context = {
        "set": of_set,
        "seat": Seat.objects.filter(of=of_set, member=request.user).first(),
        "gradable": CalibrationSet.objects.gradable_by(request.user).filter(pk=pk).exists(),
        "traits": list(of_set.traits.all()),
        "states": SetState,
    }
    mark_seen(of_set=of_set, member=request.user)
    if request.user.is_officer:
        context |= desk(of_set)
    return render(request, "grading/calibration_detail.html", context)


def desk(of_set):
    """What officers read: the places in order, how many graders there are, and the spread once it is worked out."""
    items = of_set.items.prefetch_related("photos").select_related("again_of")
    standing = set(of_set.items.standing().values_list("pk", flat=True))
    done = of_set.state == SetState.DONE
    return {
        "items": [(item, reading.photos_of(item)[:1], item.pk in standing) for item in items],
        "seats": of_set.seats.count(),
        "finished": of_set.seats.filter(finished_at__isnull=False).count(),
        "counting": of_set.seats.filter(counts=True).count(),
        "spread": reading.spread_of(of_set) if done else [],
        "discuss": reading.to_discuss(of_set) if done else [],
        "last_day": LastDayForm(initial={"closes_on": of_set.closes_on}),
    }


def own_set(request, pk):
    return get_object_or_404(CalibrationSet.objects.editable_by(request.user), pk=pk)


def done(request, of_set, action, said, /, **given):
    """Carry an officer's step out, say so, and go back to the desk."""
    try:
        action(by=request.user, **given)
        messages.success(request, said)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return redirect("calibration-detail", of_set.pk)


@require_http_methods(["GET", "POST"])
def calibration_open(request, pk):
    """Open the window; GET asks first, since the photos stay as they are from then on."""
    of_set = own_set(request, pk)
    if request.method == "POST":
        said = (
            f"{of_set} is open. It stands under Calibration, and those who grade are told by e-mail, if they wish so."
        )
        return done(request, of_set, actions.open_set, said, of_set=of_set)
    text = (
        "From now on the photos and their order stay as they are, so that all graders see the same. Members grade them "
        f"from {of_set.opens_on:%-d %B %Y} to {of_set.closes_on:%-d %B %Y}; you can move the last day."
    )
    context = {
        "title": f"Open {of_set}?",
        "text": text,
        "confirm_label": "Open it",
        "cancel_url": of_set.get_absolute_url(),
    }
    return render(request, "confirm.html", context)


@require_POST
def calibration_extend(request, pk):
    """Another last day."""
    of_set = own_set(request, pk)
    form = LastDayForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Give the last day as a day of the calendar.")
        return redirect("calibration-detail", pk)
    return done(request, of_set, actions.extend_set, "The last day is moved.", of_set=of_set, **form.cleaned_data)


@require_http_methods(["GET", "POST"])
def calibration_close(request, pk):
    """End the window now; GET asks first."""
    of_set = own_set(request, pk)
    if request.method == "POST":
        return done(
            request, of_set, actions.close_set, "It is closed, and worked out in a moment.", of_set=of_set
        )  # fmt: skip
    context = {
        "title": f"Close {of_set} now?",
        "text": "Nobody can grade it any more. What was given until now counts, and each grader gets their result.",
        "caution": "A closed set cannot be opened again.",
        "confirm_label": "Close it",
        "cancel_url": of_set.get_absolute_url(),
    }
    return render(request, "confirm.html", context)


@require_http_methods(["GET", "POST"])
def calibration_remove(request, pk):
    """Throw a draft away; GET asks first."""
    of_set = own_set(request, pk)
    if request.method == "POST":
        try:
            actions.remove_set(of_set=of_set, by=request.user)
        except ValidationError as refusal:
            messages.error(request, " ".join(refusal.messages))
            return redirect(of_set)
        messages.success(request, "The draft is gone.")
        return redirect("calibration-list")
    context = {
        "title": f"Throw {of_set} away?",
        "text": "The draft goes, the photos stay with their owners. It cannot be brought back.",
        "confirm_label": "Throw it away",
        "cancel_url": of_set.get_absolute_url(),
        "danger": True,
    }
    return render(request, "confirm.html", context)


@require_POST
def item_replace(request, pk, position):
    """Another animal in this place of a draft."""
    of_set = own_set(request, pk)
    item = get_object_or_404(of_set.items, position=position)
    return done(request, of_set, actions.replace_item, f"Place {position} shows another animal now.", item=item)


@require_POST
def item_remove(request, pk, position):
    """A place out of a draft."""
    of_set = own_set(request, pk)
    item = get_object_or_404(of_set.items, position=position)
    return done(request, of_set, actions.remove_item, f"Place {position} is out of the set.", item=item)
