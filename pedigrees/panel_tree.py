"""The pedigree on the animal's page: three generations and its inbreeding, and the ways to the whole of it."""

from django.urls import reverse

from herds.panels import AnimalAction, AnimalPanel, register
from pedigrees.load import PedigreeProblem
from pedigrees.tree import small_tree_of


def pedigree_context(request, animal):
    """The small tree; for an animal without known parents only the way to its progeny."""
    if not (animal.sire_id or animal.dam_id):
        return {"cell": None, "animal": animal}
    try:
        return {"cell": small_tree_of(animal), "animal": animal}
    except PedigreeProblem as problem:
        return {"problem": str(problem), "animal": animal}


def pedigree_url(request, animal):
    return reverse("pedigree-detail", args=[animal.pk])


def progeny_url(request, animal):
    return reverse("progeny-tree", args=[animal.pk])


def relation_url(request, animal):
    return f"{reverse('relation')}?one={animal.pk}"


def register_parts():
    """Called once when the app is ready."""
    register(AnimalPanel("pedigree", "Pedigree", 25, "pedigrees/panel.html", pedigree_context))
    register(AnimalAction("pedigree", "Pedigree", 64, pedigree_url))
    register(AnimalAction("progeny", "Progeny, as a tree", 65, progeny_url))
    register(AnimalAction("relation", "Why related to another", 66, relation_url))
