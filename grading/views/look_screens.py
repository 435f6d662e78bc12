"""The screens of a look while it is made: a section, and the small saves that its touches send."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from grading.actions import looks as actions
from grading.forms.looks import FactsForm
from grading.look_post import SectionPost, fact_of, given_at
from grading.look_sheet import SECTIONS, LookSheet, field_name, finding_of, step_of
from grading.models import Answer

from .doors import own_look

PARTS = "grading/look_parts.html"


@require_http_methods(["GET", "POST"])
@own_look
def look_section(request, look, section):
    """One screen of the look; a POST saves all of it, which is how it works without script."""
    if section not in SECTIONS:
        raise Http404
    post = SectionPost(request, look, section)
    if request.method == "POST" and post.save():
        if request.POST.get("then") == "finish":
            return finished(request, look)
        if request.POST.get("then") == "points":
            return redirect("look-points", look.pk)
        onward = 0 if request.POST.get("same") else 1
        return redirect("look-section", look.pk, min(section + onward, len(SECTIONS)))
    return render(request, "grading/look_section.html", post.context(), status=422 if post.errors else 200)


@require_POST
@own_look
def look_answer(request, look):
    """One touch on a scale, or one on 'same at the other places'."""
    code, site = sent(request, "trait"), sent(request, "site")
    sheet = LookSheet(look, code=code)
    row = sheet.row(code)
    if row is None:
        return refused_part(request, "This look's profile does not grade that trait. Open the section again.")
    sheet.section = row.trait.section
    if "same" in request.GET:
        return same_at_places(request, sheet, row)
    error = saved = ""
    try:
        step = step_of(row.trait, request.POST.get("step") or request.POST.get(field_name(row.trait, site), ""))
        saved = save_answer(request, sheet, row.trait, site, step)
    except ValidationError as refusal:
        error = " ".join(refusal.messages)
    return answered(request, sheet, "scale", error, scale=sheet.scale(row, site, error=error, saved=saved), row=row)


@require_POST
@own_look
def look_finding(request, look):
    """Seen, not seen or not checked, and where."""
    code = sent(request, "finding")
    sheet = LookSheet(look)
    row = sheet.kind(code)
    if row is None:
        return refused_part(request, "This look's profile does not ask for that. Open the section again.")
    error = ""
    try:
        state, places = request.POST.get(f"finding--{code}", ""), request.POST.getlist(f"place--{code}")
        actions.save_finding(look=look, kind=row.kind, state=state, places=places, by=request.user)
    except ValidationError as refusal:
        error = " ".join(refusal.messages)
    finding = {**finding_of(look, row, sheet.found.get(row.kind_id)), "error": error, "saved": "" if error else "Saved"}
    sheet.section = row.kind.section
    unlooked = sheet.not_looked_for() if row.kind.section == len(SECTIONS) else None
    return answered(request, sheet, "finding", error, finding=finding, not_looked_for=unlooked)


@require_POST
@own_look
def look_facts(request, look):
    """Coat stage, silvering, weight or note: the one that was touched."""
    name = sent(request, "fact")
    form = FactsForm(request.POST, look=look, member=request.user)
    if name not in form.fields:
        return refused_part(request, "A look does not ask for that. Open the section again.")
    saved = form.save(only=name)
    if saved:
        form = FactsForm(look=look, member=request.user)
    context = {"fact": fact_of(look, form, name, saved="Saved" if saved else "")}
    return answered(request, LookSheet(look, 5), "fact", not saved, **context)


@require_POST
@own_look
def look_finish(request, look):
    """Finish the look as it stands and show it."""
    return finished(request, look)


@require_http_methods(["GET", "POST"])
@own_look
def look_remove(request, look):
    """Take back a look that was begun by mistake."""
    if request.method == "GET":
        return render(request, "confirm.html", removal(look))
    try:
        actions.remove_look(look=look, by=request.user)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
        return redirect(look)
    messages.success(request, f"The unfinished look of {look.animal} was taken back.")
    return redirect(look.animal)


def finished(request, look):
    """Finish, say what is still open, and go to the look's page."""
    sheet = LookSheet(look)
    actions.finish_look(look=look, by=request.user)
    still_open = sum(each["open"] for each in sheet.progress())
    asked = sum(each["asked"] for each in sheet.progress())
    words = f"The look of {look.animal} is finished"
    messages.success(request, f"{words}; {still_open} of {asked} answers are open." if still_open else f"{words}.")
    return redirect(look)


def save_answer(request, sheet, trait, site, step):
    """Save one answer and show it; returns what to say beside it."""
    answers = [(trait, site, step)]
    if actions.save_answers(look=sheet.look, answers=answers, by=request.user, given_at=given_at(request)):
        sheet.show(trait, site, step)
        return "Saved"
    return "A later answer was already saved"


def same_at_places(request, sheet, row):
    """Copy a step to the places that are still open; what is answered stays."""
    error = ""
    try:
        step = step_of(row.trait, request.GET["same"])
        answers = [(row.trait, site, step) for site in row.trait.sites]
        actions.save_answers(look=sheet.look, answers=answers, by=request.user, only_missing=True)
    except ValidationError as refusal:
        error = " ".join(refusal.messages)
    return answered(request, sheet, "places", error, row=row)


def answered(request, sheet, part, error, *, row=None, **context):
    """The part that was touched as it stands now, and beside it how far the look has come."""
    steps = sheet.progress()
    context |= {
        "look": sheet.look,
        "progress": steps,
        "next_open": sheet.next_open(steps),
        "group": sheet.places(row) if row and row.trait.sites else None,
        "error": error,
        "oob": True,
    }
    return render(request, f"{PARTS}#{part}-answer", context, status=422 if error else 200)


def sent(request, name):
    """What a touch says about itself, in its address or its body."""
    return request.GET.get(name) or request.POST.get(name, "")


def refused_part(request, sentence):
    """A sentence in place of what was touched."""
    return render(request, "components/callout.html", {"kind": "error", "text": sentence}, status=422)


def removal(look):
    """Context of the question before a look is taken back."""
    answers = Answer.objects.filter(look=look).count()
    return {
        "title": f"Take back the look of {look.animal}?",
        "text": f"It is unfinished; {answers} answers go with it. This cannot be undone.",
        "confirm_label": "Take it back",
        "cancel_url": look.get_absolute_url(),
        "danger": True,
    }
