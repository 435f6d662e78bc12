"""The reverse tree: what came of an animal."""

from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET

from clubsite.htmx import page_or_part
from herds.models import Animal
from pedigrees.progeny import progeny_of


@require_GET
def progeny_tree(request, pk):
    """Progeny by mate and litter, newest first, with the generation below them and counts of the next."""
    animal = get_object_or_404(Animal.objects.visible_to(request.user), pk=pk)
    tree = progeny_of(animal, request.user, request.GET.get("page"))
    context = {"animal": animal, "tree": tree, "page": tree.page}
    return page_or_part(request, "pedigrees/progeny_tree.html", "litters", context)
