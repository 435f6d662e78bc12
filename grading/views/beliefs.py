"""What breeders believe, tested on the club's own rows."""

from django.http import Http404
from django.shortcuts import render

from clubsite.members.models import Club
from grading.beliefs import pages, reading, words
from grading.views.sires import chosen_breed
from herds.models import Breed


def belief_list(request):
    """All beliefs with what the club's rows say of each in a sentence."""
    breed, answers = chosen_breed(request), []
    if breed:
        _, answers = pages.answers_of(request.user, breed, Club.current())
    return render(
        request, "grading/belief_list.html", {"breed": breed, "breeds": Breed.objects.all(), "answers": answers}
    )


def belief_detail(request, slug):
    """One belief: the club's numbers, effect and interval, or what is missing."""
    breed = chosen_breed(request)
    if slug not in words.BY_SLUG or breed is None:
        raise Http404
    figures, (answer,) = pages.answers_of(request.user, breed, Club.current(), {slug})
    others = [belief for belief in words.BELIEFS if belief.slug != slug]
    context = {"breed": breed, "answer": answer, "belief": answer.belief, "figures": figures, "others": others}
    return render(request, "grading/belief_detail.html", context | {"months": round(reading.GROWN_DAYS / 30.44)})
