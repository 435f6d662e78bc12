"""How two animals of a mating are related, as far as parents and grandparents tell: one query, no coefficients."""

from .models import Animal

PARENTS = ("sire", "dam")
WITH_GRANDPARENTS = [*PARENTS, *[f"{one}__{two}" for one in PARENTS for two in PARENTS]]


def with_grandparents(*pks):
    """The animals by key, parents and grandparents fetched with them, in one query."""
    return {animal.pk: animal for animal in Animal.objects.filter(pk__in=pks).select_related(*WITH_GRANDPARENTS)}


def close_relation(doe, buck):
    """What makes this mating a close one, as a sentence naming the animals both share; '' when nothing is known."""
    for older, younger in ((doe, buck), (buck, doe)):
        if older.pk in parents(younger):
            return f"{younger} is a {_young_word(younger)} of {older}."
    shared = parents(doe).keys() & parents(buck).keys()
    if len(shared) == 2:
        return f"{doe} and {buck} have the same sire and dam: {_names(parents(doe), shared)}."
    if shared:
        return f"{doe} and {buck} are half brother and sister through {_names(parents(doe), shared)}."
    for older, younger in ((doe, buck), (buck, doe)):
        if older.pk in grandparents(younger):
            return f"{older} is a grandparent of {younger}."
        for parent in parents(younger).values():
            if len(parents(parent)) == 2 and parents(parent).keys() == parents(older).keys():
                return f"{older} is a full {_sibling_word(older)} of {parent}, a parent of {younger}."
    both = grandparents(doe).keys() & grandparents(buck).keys()
    if len(both) == 4:
        return f"{doe} and {buck} have all four grandparents in common: {_names(grandparents(doe), both)}."
    return ""


def parents(animal):
    """The known parents by key."""
    return {parent.pk: parent for parent in (animal.sire, animal.dam) if parent is not None}


def grandparents(animal):
    """The known grandparents by key."""
    found = {}
    for parent in parents(animal).values():
        found |= parents(parent)
    return found


def _names(animals, keys):
    return " and ".join(str(animals[key]) for key in sorted(keys))


def _young_word(animal):
    return {"buck": "son", "doe": "daughter"}.get(animal.sex, "young one")


def _sibling_word(animal):
    return {"buck": "brother", "doe": "sister"}.get(animal.sex, "sibling")
