"""Asking for a review: the form, then a page that says what is missing, then sending.

What was typed waits in the session meanwhile, so that a photo can be taken before it is sent.
"""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from clubsite.forms import posted
from clubsite.members.sent_once import sent_once
from grading.actions.reviews import MOST_ANIMALS, ask_review
from grading.forms.reviews import AskForm, herds_to_ask_for
from grading.models import Question
from grading.review_missing import in_words, missing_for
from herds.models import Animal, Herd, Litter

DRAFTS = "review_drafts"
MOST_DRAFTS = 5


@require_http_methods(["GET", "POST"])
def review_create(request):
    """Which animals, what question, which mentor; `?herd=`, `?animal=` or `?litter=` says what it begins with."""
    start = _start(request)
    if start["herd"] is None:
        herds = list(herds_to_ask_for(request.user))
        if len(herds) != 1:
            return render(request, "grading/review_herds.html", {"herds": herds})
        start["herd"] = herds[0]
    herd = start["herd"]
    if request.user.is_youth:
        return render(request, "grading/review_youth.html", {"herd": herd, "guardian": request.user.guardian})
    form = AskForm(
        posted(request), herd=herd, by=request.user, litter=start["litter"], initial=_initial(request, start)
    )
    if form.is_valid():
        if len(form.cleaned_data["animals"]) <= MOST_ANIMALS:
            keep_draft(request, herd, form.draft())
            return redirect("review-check", herd.slug)
        form.add_error("animals", f"A review takes {MOST_ANIMALS} animals at most. Choose fewer, and ask twice.")
    context = {
        "form": form,
        "herd": herd,
        "litter": start["litter"],
        "begun": draft_of(request, herd) is not None,
        "nobody": not form.fields["animals"].queryset.exists(),
    }
    return render(request, "grading/review_form.html", context, status=form.status)


@require_http_methods(["GET", "POST"])
@sent_once
def review_check(request, slug):
    """What is missing for the question, and the button that sends the request as it is."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    draft = draft_of(request, herd)
    if draft is None:
        return redirect(f"{reverse('review-create')}?herd={herd.slug}")
    litter = Litter.objects.filter(herd=herd, pk=draft["litter"]).first() if draft["litter"] else None
    form = AskForm(draft, herd=herd, by=request.user, litter=litter)
    if not form.is_valid():
        messages.error(request, " ".join(text for texts in form.errors.values() for text in texts))
        return redirect(f"{reverse('review-create')}?herd={herd.slug}")
    if request.method == "POST":
        review = form.carry_out(ask_review, **form.given())
        if review:
            drop_draft(request, herd)
            messages.success(request, _sent_words(review))
            return redirect(review)
    asked = form.cleaned_data
    rows = missing_for(list(asked["animals"]), asked["question"], member=request.user, back=request.path)
    context = {
        "form": form,
        "herd": herd,
        "litter": litter,
        "asked": asked,
        "question": Question(asked["question"]).label,
        "rows": [row for row in rows if not row.nothing],
        "complete": [row.animal for row in rows if row.nothing],
        "further": [row for row in rows if row.further],
        "missing": in_words(rows),
        "change_url": f"{reverse('review-create')}?herd={herd.slug}" + (f"&litter={litter.pk}" if litter else ""),
    }
    return render(request, "grading/review_check.html", context, status=form.status)


@require_POST
def review_discard(request, slug):
    """Forget what was typed for this herd."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    drop_draft(request, herd)
    return redirect(f"{reverse('review-create')}?herd={herd.slug}")


def _start(request):
    """The herd, litter and animal that the address names, as far as they are the member's; 404 when they are not."""
    asked = {name: request.GET.get(name, "") for name in ("herd", "animal", "litter")}
    herd = litter = animal = None
    herds = herds_to_ask_for(request.user)
    if asked["litter"]:
        own = Litter.objects.filter(herd__in=herds).select_related("herd", "dam")
        litter = get_object_or_404(own, pk=_number(asked["litter"]))
        herd = litter.herd
    elif asked["animal"]:
        animal = get_object_or_404(
            Animal.objects.filter(herd__in=herds).select_related("herd"), pk=_number(asked["animal"])
        )
        herd = animal.herd
    elif asked["herd"]:
        herd = get_object_or_404(herds, slug=asked["herd"])
    return {"herd": herd, "litter": litter, "animal": animal}


def _number(text):
    return int(text) if text.isdecimal() and len(text) < 19 else 0


def _initial(request, start):
    """What was typed before, with the animal or the litter that the address names chosen too."""
    initial = dict(draft_of(request, start["herd"]) or {"animals": []})
    if start["animal"] and start["animal"].pk not in initial["animals"]:
        initial["animals"] = [*initial["animals"], start["animal"].pk]
    if start["litter"] and initial.get("litter") != start["litter"].pk:
        initial["animals"] = list(start["litter"].animals.here().values_list("pk", flat=True))
    return {name: value for name, value in initial.items() if name != "litter" and value != ""}


def draft_of(request, herd):
    """What the member typed for this herd and did not send; None when nothing."""
    return request.session.get(DRAFTS, {}).get(str(herd.pk))


def begun_herds(request):
    """Herds of the member for which a request was begun and not sent."""
    begun = [int(key) for key in request.session.get(DRAFTS, {})]
    return list(Herd.objects.editable_by(request.user).filter(pk__in=begun)) if begun else []


def keep_draft(request, herd, draft):
    drafts = request.session.get(DRAFTS, {})
    drafts.pop(str(herd.pk), None)
    request.session[DRAFTS] = dict([*drafts.items(), (str(herd.pk), draft)][-MOST_DRAFTS:])


def drop_draft(request, herd):
    drafts = request.session.get(DRAFTS, {})
    if drafts.pop(str(herd.pk), None) is not None:
        request.session[DRAFTS] = drafts


def _sent_words(review):
    if review.mentor is None:
        return "Your request is in the club's queue. You hear when a mentor has answered it."
    return f"{review.mentor} has your request, and sees the photos of these animals until {review.ends_on:%-d %B %Y}."
