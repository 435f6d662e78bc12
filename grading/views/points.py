"""The points sheet while points are given: the whole sheet on one screen, and the small saves of its touches."""

from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from grading.actions import looks as actions
from grading.forms.points import PointsPost, how_many, note_name, points_name
from grading.look_sheet import LookSheet
from grading.models import Mode, PointsSheet
from grading.points.reading import Points, points_words

from .doors import answer_instead, own_look
from .look_screens import finished, refused_part

IN_HAND = "Points are given with the animal in hand. A photo shows neither fur nor flesh."
NO_POSITIONS = (
    "This look's schedule has no positions, so there are no points to give. An officer can make a new edition."
)
PARTS = "grading/points_parts.html"


@require_http_methods(["GET", "POST"])
@own_look
def look_points(request, look):
    """The sheet on one screen; a POST saves all of it, which is how it works without script."""
    points = points_of_look(request, look)
    if look.mode == Mode.PHOTO or not points.rows:
        return answer_instead(request, 409, look, IN_HAND if look.mode == Mode.PHOTO else NO_POSITIONS)
    post = PointsPost(request, look, points.rows)
    if request.method == "POST" and post.save():
        return onward(request, look)
    context = page_context(look, points, post if request.method == "POST" else None)
    return render(request, "grading/points_sheet.html", context, status=422 if post.errors else 200)


@require_POST
@own_look
def look_points_given(request, look):
    """The points or the note of one position, as they were touched; without a position the sheet's own note."""
    points = points_of_look(request, look)
    post = PointsPost(request, look, points.rows, code=request.GET.get("position", ""))
    if post.code and not post.rows:
        return refused_part(request, "This schedule has no such position. Open the points sheet again.")
    saved = post.save()
    if not post.code:
        context = {"saved": saved, "errors": list(post.errors.values()), "note_was": sheet_note(look)}
        return render(request, f"{PARTS}#note-said", context, status=200 if saved else 422)
    if saved:  # only the lines are other than before
        points = Points(look, points.look_sheet, unit=points.unit, schedule=points.schedule)
    row = points.row(post.code)
    whole = next((each for each in points.rows if row.place in each.place.parts), None)
    context = {
        "look": look, "points": points, "row": row, "whole": whole, "errors": list(post.errors.values()),
        "saved": saved, "oob": True,
    }  # fmt: skip
    return render(request, f"{PARTS}#given", context, status=200 if saved else 422)


def onward(request, look):
    """Where the whole sheet's button leads: finish the look, go back to its last screen, or show it."""
    then = request.POST.get("then")
    if then == "finish" and look.is_open:
        actions.finish_look(look=look, by=request.user)
        return finished(request, look)
    if then == "look":
        return redirect("look-section", look.pk, 5)
    return redirect(f"{reverse('look-detail', args=[look.pk])}#points")


def points_of_look(request, look):
    """The sheet as it stands, for the look's observer, who reads all of it."""
    return Points(look, LookSheet(look), unit=request.user.weight_unit)


def sheet_note(look):
    """The sheet's own note as it is saved."""
    return PointsSheet.objects.filter(look=look).values_list("note", flat=True).first() or ""


def page_context(look, points, post=None):
    """What templates/grading/points_sheet.html draws: the sheet as it stands, with what was just typed over it."""
    errors = post.errors if post else {}
    fields = [field_of(look, row, post.typed if post else {}, errors) for row in points.rows]
    return {"look": look, "points": points, "fields": fields, "note_was": points.note, "errors": errors,
            "note": post.typed["note"] if post else points.note}  # fmt: skip


def field_of(look, row, typed, errors):
    """A row with the names and values of its two fields."""
    place = row.place
    start = place.floor if place.floor is not None else place.points / 2 // place.step * place.step
    return {
        "row": row,
        "name": points_name(place),
        "value": typed.get(points_name(place), row.given_words),
        "note_name": note_name(place),
        "note": typed.get(note_name(place), row.note),
        "how_many": how_many(place),
        "step": points_words(place.step),
        "most": points_words(place.points),
        "start": points_words(start),
        "errors": [errors[name] for name in (points_name(place), note_name(place)) if name in errors],
        "url": f"{reverse('look-points-given', args=[look.pk])}?position={place.code}",
    }
