"""The door to a member's own look: 404 for everybody else, and a sentence for whom the herd was closed."""

from functools import wraps

from django.db.models import Exists, OuterRef
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django_htmx.http import reswap, retarget

from clubsite.htmx import wants_part
from grading.models import Look
from herds.models import Animal

CLOSED = "This herd is no longer open to you."
DAY_OVER = "The day of this look is over, so it stays as it is. Make a new look that supersedes it."


def own_look(view):
    """Give the view the member's own look that may still be changed; answer everybody else before it.

    A look whose day is over sends a reader to its page and refuses a change with a sentence.
    """

    @wraps(view)
    def door(request, pk, *args, **kwargs):
        look = get_own_look(request.user, pk)
        if not look.may_grade:
            return answer_instead(request, 404, look, CLOSED)
        if look.editable_until <= timezone.now():
            if request.method in ("GET", "HEAD"):
                return redirect(look)
            supersede = reverse("look-supersede", args=[look.pk])
            return answer_instead(request, 409, look, DAY_OVER, supersede_url=supersede)
        return view(request, look, *args, **kwargs)

    return door


def get_own_look(member, pk):
    """The member's own look with `may_grade` as it is now; Http404 when it is somebody else's."""
    may_grade = Exists(Animal.objects.gradable_by(member).filter(pk=OuterRef("animal_id")))
    looks = Look.objects.filter(observer=member.pk).select_related("animal", "age_class")
    return get_object_or_404(looks.annotate(may_grade=may_grade), pk=pk)


def answer_instead(request, status, look, sentence, **more):
    """A page, or the part that takes the place of the whole look on the screen, that says why nothing was saved."""
    context = {"sentence": sentence, **more}
    template = "grading/look_refused.html"
    response = render(request, f"{template}#refused" if wants_part(request) else template, context, status=status)
    return reswap(retarget(response, "#look"), "innerHTML") if wants_part(request) else response
