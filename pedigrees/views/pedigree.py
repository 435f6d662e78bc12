"""The pedigree of an animal, on screen."""

from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from herds.models import Animal
from pedigrees.tree import FEWEST, MOST, tree_of
from pedigrees.views.problems import told_by_name

USUAL = 4


@require_GET
@told_by_name
def pedigree_detail(request, pk):
    """Three to six generations, whoever of them is known, and who stands in several places."""
    animal = get_object_or_404(Animal.objects.visible_to(request.user), pk=pk)
    asked = request.GET.get("generations", "")
    generations = int(asked) if asked in map(str, range(FEWEST, MOST + 1)) else USUAL
    context = {
        "animal": animal,
        "tree": tree_of(animal, generations, request.user),
        "choices": range(FEWEST, MOST + 1),
    }
    return render(request, "pedigrees/pedigree_detail.html", context)
