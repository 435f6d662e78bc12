"""Evaluation runs, for officers: asking for one, watching it, stopping it, and what each found."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from grading import level_words
from grading.actions.evaluations import ask_for_run, ask_to_stop
from grading.evaluation_words import heritability_words, together_words
from grading.models import EvaluationRun, Look
from grading.running.warnings import graders_named_in, pair_sentences, sentences
from herds.models import Breed


@require_http_methods(["GET", "POST"])
@sent_once
def evaluation_list(request):
    """All runs, newest first; sending the form asks for one more."""
    if not request.user.is_officer:
        raise Http404
    breeds = Breed.objects.filter(pk__in=Look.objects.current().values("animal__breed"))
    breeds = breeds.annotate(size=Count("animals")).order_by("-size", "name")
    if request.method == "POST":
        breed = get_object_or_404(breeds, slug=request.POST.get("breed", ""))
        try:
            run = ask_for_run(breed=breed, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
            return go(request, "evaluation-list")
        return go(request, run)
    runs = EvaluationRun.objects.visible_to(request.user).select_related("breed", "asked_by", "only")
    page = Paginator(runs, 20).get_page(request.GET.get("page"))
    return render(request, "grading/evaluation_list.html", {"page": page, "breeds": breeds})


@require_GET
def evaluation_detail(request, pk):
    """How far a run is, or what it found of each trait."""
    runs = EvaluationRun.objects.editable_by(request.user).select_related("breed", "asked_by", "only")
    run = get_object_or_404(runs, pk=pk)
    traits = list(run.traits.select_related("trait"))
    names = level_words.grader_names(request.user, graders_named_in(traits))
    context = {
        "run": run,
        "traits": [(each, heritability_words(each), sentences(each, names)) for each in traits],
        "together": together_words(run.together),
        "warnings": [*run.warnings, *pair_sentences(run.together, names)],
    }
    return page_or_part(request, "grading/evaluation_detail.html", "state", context)


@require_POST
def evaluation_stop(request, pk):
    run = get_object_or_404(EvaluationRun.objects.editable_by(request.user), pk=pk)
    try:
        ask_to_stop(run=run, by=request.user)
        messages.success(request, "The run is asked to stop. What earlier runs found stays as it is.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, run)
