"""The planner for a mentor: pairs of a herd that is open to them, proposed for the season's plan."""

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from clubsite.forms import posted
from clubsite.members.sent_once import sent_once
from grading.actions import season as actions
from grading.barn.pairing import chosen_pairs
from grading.barn.reading import blind_animals
from grading.forms.season import SeasonPairsForm, SeasonPlannerForm
from herds.models import Animal, Herd
from herds.words import count_words
from pedigrees import load
from pedigrees.views.planner import shown

from .barn import closed, plan_url

GONE = "One of the animals no longer stands in the herd, or is no longer offered. Choose again."


@require_http_methods(["GET", "POST"])
@sent_once
def season_pairs(request, slug):
    """The mentor weighs up does and bucks as the owner does in the planner; chosen pairs become proposals.

    The choice stays in the address, so that a form with a mistake is shown with its pairs again.
    """
    herd = get_object_or_404(Herd.objects.visible_to(request.user), slug=slug)
    if not Herd.objects.granted_to(request.user).filter(pk=herd.pk).exists():
        return closed(request, herd)
    hidden = blind_animals(request.user)
    asked = request.GET if "doe" in request.GET or "buck" in request.GET else None
    form, proposing = SeasonPlannerForm(asked, request.user, herd, hidden), SeasonPairsForm(posted(request))
    if proposing.is_valid():
        try:
            made = _proposed(request, herd, form, proposing)
        except actions.HerdClosed:
            return closed(request, herd)
        if made is not None:
            return redirect(plan_url(herd))
    context = {"herd": herd, "form": form, "proposing": proposing, "blind": left_out(herd, hidden)}
    if request.method == "POST":
        context["chosen"] = request.POST.getlist("pair")
    if form.is_valid():
        try:
            context |= shown(request.user, form.cleaned_data)
        except load.PedigreeProblem as problem:
            form.add_error(None, str(problem))
    status = proposing.status if proposing.is_bound else 422 if form.errors else 200
    return render(request, "grading/season_pairs.html", context, status=status)


def left_out(herd, hidden):
    """How many of the animals that might be chosen are hidden."""
    if not hidden:
        return 0
    return Animal.objects.filter(Q(herd=herd) | Q(offered_to_club=True), pk__in=hidden).here().count()


def _proposed(request, herd, form, proposing):
    """The new items, told in a message; None with the reason on the form."""
    fields = form.fields
    pairs = chosen_pairs(request.POST.getlist("pair"), fields["doe"].queryset, fields["buck"].queryset)
    if pairs is None:
        proposing.add_error(None, GONE)
        return None
    made = proposing.carry_out(
        actions.propose_pairs, herd=herd, by=request.user, pairs=pairs, **proposing.cleaned_data
    )  # fmt: skip
    if made is not None:
        known = len(pairs) - len(made)
        text = f"{count_words(len(made), 'mating')} proposed."
        messages.success(request, text + (f" {known} stood there already." if known else ""))
    return made
