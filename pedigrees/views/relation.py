"""Why two animals are related."""

from urllib.parse import urlencode

from django.shortcuts import render
from django.views.decorators.http import require_GET

from clubsite.htmx import go
from herds.models import Animal
from pedigrees.choosing import SAME, RelationForm
from pedigrees.relation import relation_of
from pedigrees.views.problems import told_by_name


@require_GET
@told_by_name
def relation(request):
    """Two animals are named; then their keys stand in the address, and the page tells how they are related."""
    if "first" in request.GET:
        form = RelationForm(request.GET, member=request.user)
        if form.is_valid():
            keys = {"one": form.cleaned_data["first"].pk, "other": form.cleaned_data["second"].pk}
            return go(request, f"{request.path}?{urlencode(keys)}")
        return render(request, "pedigrees/relation.html", {"form": form}, status=422)
    one, other = (_asked(request, name) for name in ("one", "other"))
    form = RelationForm(member=request.user, initial={"first": one, "second": other})
    found = relation_of(one, other) if one and other and one != other else None
    return render(
        request,
        "pedigrees/relation.html",
        {"form": form, "relation": found, "same": SAME if one and one == other else ""},
    )


def _asked(request, name):
    """The animal whose key stands in the address, if there is one that the member may know of."""
    key = request.GET.get(name, "")
    animals = Animal.objects.visible_to(request.user).select_related("bred_in")
    return animals.filter(pk=key).first() if key.isascii() and key.isdigit() and len(key) < 19 else None
