"""The parts of the animal page that this app fills itself, through the same places as the apps above."""

from django.db.models import Q

from .models import Animal, Decision, Litter, Quarantine, Transfer
from .panels import AnimalPanel, register

SHOWN = 24


def register_all():
    """Called once when the app is ready."""
    for name, title, order, context in (
        ("progeny", "Litters and progeny", 30, progeny),
        ("decisions", "Decisions", 50, decisions),
        ("quarantine", "Quarantine", 60, quarantine),
        ("transfers", "Transfers", 70, transfers),
        ("identity", "What was changed on the card", 80, identity),
    ):
        register(AnimalPanel(name, title, order, f"herds/panels/{name}.html", context))


def progeny(request, animal):
    """Litters that the member may see, and the cards of all progeny."""
    mine = Q(dam=animal) | Q(sire=animal)
    litters = list(
        Litter.objects.visible_to(request.user).filter(mine).select_related("sire", "dam").order_by("-born_on")[:SHOWN]
    )
    young = list(Animal.objects.visible_to(request.user).filter(mine).select_related("sire", "dam")[: SHOWN + 1])
    if not litters and not young:
        return None
    return {"litters": litters, "young": young[:SHOWN], "more": len(young) > SHOWN, "animal": animal}


def decisions(request, animal):
    """The herd's decisions, the last one first; only for its keepers."""
    if not animal.is_kept:
        return None
    rows = Decision.objects.visible_to(request.user).filter(animal=animal).select_related("by")
    rows = list(rows[:SHOWN])
    return {"rows": rows, "undo": rows[0].batch if rows else None, "animal": animal} if rows else None


def quarantine(request, animal):
    """Open and ended quarantines; only for its keepers."""
    if not animal.is_kept:
        return None
    rows = list(Quarantine.objects.visible_to(request.user).filter(animal=animal)[:SHOWN])
    return {"rows": rows, "animal": animal} if rows else None


def transfers(request, animal):
    """Transfers from or to the member's herds; all for the registrar."""
    rows = Transfer.objects.visible_to(request.user).filter(animal=animal).select_related("from_herd", "to_herd")
    rows = list(rows[:SHOWN])
    return {"rows": rows} if rows else None


def identity(request, animal):
    """The trail of corrections, for its keepers and the registrar."""
    if not (animal.is_kept or request.user.is_registrar):
        return None
    rows = list(animal.corrections.select_related("by")[:SHOWN])
    return {"rows": rows} if rows else None
