"""Cage cards, eight to a sheet."""

from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from herds.models import Animal, Herd
from pedigrees.cards import MOST, card_data
from pedigrees.forms import PaperForm, asked_paper
from pedigrees.paper import printed
from pedigrees.views.certificates import pdf_response


@require_GET
def cage_cards(request, slug):
    """Which animals get a card; all that stand in the herd are ticked at first."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    animals = present(herd)
    ticked = chosen_keys(request.GET.getlist("animal")) or {animal.pk for animal in animals}
    context = {"herd": herd, "animals": animals, "ticked": ticked, "form": PaperForm(), "most": MOST}
    return render(request, "pedigrees/cage_cards.html", context)


@require_GET
def cage_cards_file(request, slug):
    """The cards of the ticked animals as PDF; of all that stand in the herd when none is ticked."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    keys = chosen_keys(request.GET.getlist("animal"))
    animals = [animal for animal in present(herd) if not keys or animal.pk in keys][:MOST]
    if not animals:
        context = {"herd": herd, "animals": [], "ticked": set(), "form": PaperForm(), "most": MOST}
        return render(request, "pedigrees/cage_cards.html", context, status=422)
    return pdf_response(
        printed("cards", card_data(herd, animals), paper=asked_paper(request.GET)), f"cards-{herd.slug}"
    )


def present(herd):
    return list(Animal.objects.filter(herd=herd).here().select_related("breed", "sire", "dam").by_mark())


def chosen_keys(texts):
    return {int(text) for text in texts if text.isdecimal() and len(text) < 19}
