"""What the club adds to the registry: its own traits and findings, and the list of all that it has."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.forms import carried_out, posted
from clubsite.members.guards import officers_only
from clubsite.members.sent_once import sent_once
from grading.actions import editions as actions
from grading.forms.edition_own import OwnFindingForm, OwnTraitForm, TakeTraitsForm
from grading.look_sheet import SECTIONS
from grading.models import FindingKind, Trait
from grading.profiles.documents import shipped_findings, shipped_traits
from herds.words import count_words

from .edition_pages import draft_editor

GET_POST = ["GET", "POST"]
OWN: dict[str, tuple] = {
    "traits": (Trait, shipped_traits, actions.delete_trait, "trait"),
    "findings": (FindingKind, shipped_findings, actions.delete_finding, "kind"),
}


@require_http_methods(GET_POST)
@draft_editor
def traits_take(request, edition):
    """Choose traits of the registry that a draft does not grade yet."""
    choices = Trait.objects.exclude(in_profiles__profile=edition)
    form = TakeTraitsForm(posted(request), choices=choices)
    if request.method == "POST" and form.is_valid():
        traits = list(form.cleaned_data["traits"])
        if carried_out(form, actions.take_traits, profile=edition, traits=traits, by=request.user):
            messages.success(request, f"{count_words(len(traits), 'trait')} added. Set the goals now.")
            return redirect("profile-traits", edition.pk)
    context = {"edition": edition, "form": form, "choices": choices}
    return render(request, "grading/edition_traits_take.html", context, status=422 if form.errors else 200)


@require_http_methods(GET_POST)
@draft_editor
@sent_once
def trait_create(request, edition):
    """A trait of the club's own."""
    form = OwnTraitForm(posted(request))
    if request.method == "POST" and form.is_valid():
        trait = carried_out(form, actions.add_own_trait, profile=edition, by=request.user, **form.given)
        if trait:
            messages.success(request, f"{trait} is in this draft. Set its goal and describe its steps.")
            return redirect("profile-trait", edition.pk, trait.code)
    context = {"edition": edition, "form": form}
    return render(request, "grading/edition_own_trait.html", context, status=422 if form.errors else 200)


@require_http_methods(GET_POST)
@draft_editor
@sent_once
def finding_create(request, edition):
    """A finding of the club's own."""
    form = OwnFindingForm(posted(request))
    if request.method == "POST" and form.is_valid():
        kind = carried_out(form, actions.add_own_finding, profile=edition, by=request.user, **form.given)
        if kind:
            messages.success(request, f"{kind} is in this draft.")
            return redirect("profile-findings", edition.pk)
    context = {"edition": edition, "form": form}
    return render(request, "grading/edition_own_finding.html", context, status=422 if form.errors else 200)


@require_safe
@officers_only
def trait_list(request):
    """All traits and findings of the registry, where each is used, and which are the club's own."""
    editions = Count("in_profiles", distinct=True)
    context = {
        "sections": SECTIONS.values(),
        "groups": [
            ("Traits", "traits", _listed(Trait.objects.annotate(editions=editions), shipped_traits())),
            ("Findings", "findings", _listed(FindingKind.objects.annotate(editions=editions), shipped_findings())),
        ],
    }
    return render(request, "grading/trait_list.html", context)


def _listed(rows, shipped):
    return [{"row": row, "own": row.code not in shipped, "section": SECTIONS[row.section]} for row in rows]


@require_http_methods(GET_POST)
@officers_only
def own_delete(request, what, code):
    """Ask, then delete a trait or a finding of the club's own that nothing uses."""
    model, shipped, delete, name = OWN[what]
    row = get_object_or_404(model, code=code)
    if code in shipped():
        raise Http404
    if request.method == "POST":
        try:
            delete(**{name: row}, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            messages.success(request, f"{row} is deleted.")
        return redirect("trait-list")
    context = {
        "title": f"Delete {row}", "text": "It can be deleted only while no look and no edition uses it.",
        "confirm_label": "Delete it", "cancel_url": reverse("trait-list"), "danger": True,
    }  # fmt: skip
    return render(request, "confirm.html", context)
