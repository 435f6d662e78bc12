"""What stands on cage cards: the mark large enough to read from the aisle, and a code that opens the look form."""

from django.conf import settings
from django.urls import reverse

from herds.words import day_words, sex_word
from pedigrees.paper import qr_svg

MOST = 400


def card_data(herd, animals):
    """The data of the cards, for animals fetched with breed, sire and dam."""
    return {"herd": herd.name, "cards": [_card(animal) for animal in animals]}


def _card(animal):
    address = f"{settings.PUBLIC_URL}{reverse('look-create', args=[animal.pk])}"
    parents = f"{_called(animal.sire)} × {_called(animal.dam)}" if animal.sire or animal.dam else ""
    facts = [
        f"{sex_word(animal.sex)}, {animal.breed}",
        animal.variety,
        f"born {day_words(animal.born_on)}" if animal.born_on else "birth date not known",
        parents,
    ]
    return {
        "mark": animal.mark_text or "no mark",
        "name": animal.name,
        "facts": [fact for fact in facts if fact],
        "address": address,
        "qr": qr_svg(address),
    }


def _called(parent):
    return (parent.mark_text or str(parent)) if parent else "not known"
