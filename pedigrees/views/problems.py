"""What a page says when the recorded parents contradict each other."""

from functools import wraps

from django.shortcuts import render

from herds.models import Animal
from pedigrees.load import PedigreeProblem


def told_by_name(view):
    """Answer a PedigreeProblem with a page that names the animals and links their cards."""

    @wraps(view)
    def wrapped(request, *args, **kwargs):
        try:
            return view(request, *args, **kwargs)
        except PedigreeProblem as problem:
            animals = Animal.objects.visible_to(request.user).filter(pk__in=problem.animals)
            context = {"problem": str(problem), "animals": animals.by_mark()[:20]}
            return render(request, "pedigrees/problem.html", context, status=409)

    return wrapped
