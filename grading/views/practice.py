"""Practice: one calibrated photo after another, a guess, and what the graders saw."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.members.sent_once import sent_once
from grading import photo_serving as serving
from grading import practicing
from grading.calibrating import reading
from grading.look_sheet import step_of
from grading.models import CalibrationItem, Guess


@require_http_methods(["GET", "POST"])
@sent_once
def practice(request):
    """The next photo, or the guess about the one that was shown."""
    if request.method == "POST":
        return guessed(request)
    exercise = practicing.next_exercise(request.user)
    if exercise is None:
        return render(request, "grading/practice.html", {"exercise": None})
    return asked(request, exercise)


def asked(request, exercise, errors=None):
    rows = reading.rows_of(exercise.item.of)
    scales = []
    for truth in exercise.truths:
        error = (errors or {}).get(truth.trait.code, "")
        scale = reading.scale(exercise.item.of, 0, truth.trait, rows.get(truth.trait_id), None, error=error)
        typed = request.POST.get(truth.trait.code, "")
        chosen = {"value": int(typed) if typed.isdecimal() else None, "cannot_tell": typed == "cannot-tell"}
        scales.append(scale | chosen | {"save_url": ""})
    context = {"exercise": exercise, "photos": reading.photos_of(exercise.item, "practice-photo"), "scales": scales}
    return render(request, "grading/practice.html", context, status=422 if errors else 200)


def guessed(request):
    """Keep the guess and go to what the graders saw; a photo taken back meanwhile is said and the next one comes."""
    item, codes = request.POST.get("item", ""), request.POST.getlist("trait")
    exercise = practicing.exercise_of(int(item), codes) if item.isdecimal() and len(item) < 19 else None
    if exercise is None:
        messages.info(request, "That photo is not shown any more. Here is another.")
        return redirect("practice")
    steps, errors = {}, {}
    for truth in exercise.truths:
        code = truth.trait.code
        try:
            steps[code] = step_of(truth.trait, request.POST.get(code, ""))
        except ValidationError:
            errors[code] = "Choose a step, or 'cannot tell'."
    if errors:
        return asked(request, exercise, errors)
    first, *_ = practicing.save_guesses(exercise=exercise, steps=steps, by=request.user)
    return redirect("practice-told", first.pk)


@require_safe
def told(request, pk):
    """What the graders saw on the photo that was guessed, beside the described steps."""
    first = get_object_or_404(Guess.objects.visible_to(request.user).select_related("truth__item__of"), pk=pk)
    guesses = Guess.objects.visible_to(request.user).filter(at=first.at).select_related("trait", "truth").order_by("pk")
    item = first.truth.item if first.truth else None
    still = item is not None and practicing.pool().filter(item=item).exists()
    rows = reading.rows_of(item.of) if item else {}
    context = {
        "told": [practicing.told(guess, rows.get(guess.trait_id)) for guess in guesses],
        "photos": reading.photos_of(item, "practice-photo") if still else [],
        "count": Guess.objects.visible_to(request.user).count(),
    }
    return render(request, "grading/practice_told.html", context)


@require_safe
def progress(request):
    """How one gets on, trait by trait; nobody else reads it."""
    return render(request, "grading/practice_progress.html", {"rows": practicing.progress(request.user)})


@require_safe
def photo(request, item, place, size):
    """A photo for practice; its file's name says nothing of the animal."""
    if size not in ("320", "1024", "2048") or not practicing.pool().filter(item=item).exists():
        raise Http404
    found = CalibrationItem.objects.prefetch_related("photos").get(pk=item)
    shown = reading.photo_at(found, place)
    if shown is None:
        raise Http404
    return serving.answer(request, shown, size, called=f"practice view {place + 1}")
