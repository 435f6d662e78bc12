"""Deciding about one animal, and taking a decision back."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from clubsite.forms import posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.actions.decisions import decide, undo_decisions
from herds.finding import one_space
from herds.forms.care import LONGEST_REASON, DecisionForm
from herds.models import Animal, Decision, Verdict
from herds.words import listed


@require_http_methods(["GET", "POST"])
@sent_once
def decision_create(request, pk):
    """Keep, grow on or let go; `?verdict=` and `?reason=` propose an answer, which is not saved by itself."""
    animal = get_object_or_404(Animal.objects.editable_by(request.user).select_related("herd"), pk=pk)
    form = DecisionForm(posted(request), herds=[animal.herd], initial=proposed(request))
    if form.is_valid():
        decided = form.carry_out(decide, animals=[animal], by=request.user, confirmed=form.confirmed, **form.given())
        if decided:
            word = Verdict(form.cleaned_data["verdict"]).label
            undo = reverse("decision-undo", args=[decided[0].batch])
            messages.success(request, f"{animal}: {word}.", extra_tags=undo)
            return go(request, animal)
    context = {
        "form": form,
        "animals": [animal],
        "animal": animal,
        "herd": animal.herd,
        "back": animal.get_absolute_url(),
    }
    return page_or_part(request, "herds/decision_form.html", "form", context, status=form.status)


def proposed(request):
    """What the address proposes, as far as the form can hold it."""
    verdict, reason = request.GET.get("verdict", ""), one_space(request.GET.get("reason", ""))
    return {name: value for name, value in (("verdict", verdict), ("reason", reason[:LONGEST_REASON])) if value}


@require_POST
def decision_undo(request, batch):
    """Restore what was decided before."""
    rows = Decision.objects.editable_by(request.user).filter(batch=batch).select_related("animal__herd")
    first = get_object_or_404(rows.order_by("pk")[:1])
    to = first.animal if rows.count() == 1 else first.animal.herd
    try:
        restored, skipped = undo_decisions(batch=batch, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return go(request, to)
    if restored:
        words = f"Taken back for {listed([row.animal for row in restored][:5])}" + (
            " and more." if len(restored) > 5 else "."
        )
        messages.success(request, words)
    if skipped:
        messages.warning(request, f"Not taken back, because decided again since: {listed(skipped[:5])}.")
    return go(request, to)
