"""The parts of the animal page that this app fills itself, through the same places as the apps above."""

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from .models import Animal, Decision, HealthNote, Line, Litter, Quarantine, Transfer
from .panels import AnimalAction, AnimalPanel, register

SHOWN = 24


def register_all():
    """Called once when the app is ready."""
    for name, title, order, context in (
        ("progeny", "Litters and progeny", 30, progeny),
        ("lines", "Lines", 35, lines),
        ("decisions", "Decisions", 50, decisions),
        ("health", "Health", 55, health),
        ("quarantine", "Quarantine", 60, quarantine),
        ("transfers", "Transfers", 70, transfers),
        ("identity", "What was changed on the card", 80, identity),
    ):
        register(AnimalPanel(name, title, order, f"herds/panels/{name}.html", context))
    register(AnimalAction("health", "Health note", 60, health_note_url))
    register(AnimalAction("changes", "Changes", 95, changes_url))


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


def lines(request, animal):
    """The lines that the member may see and to which the animal belongs."""
    found = list(Line.objects.visible_to(request.user).with_animal(animal).select_related("foundation")[:SHOWN])
    return {"lines": found, "animal": animal} if found or animal.is_kept else None


def decisions(request, animal):
    """The herd's decisions, the last one first; only for its keepers."""
    if not animal.is_kept:
        return None
    rows = Decision.objects.visible_to(request.user).filter(animal=animal).select_related("by")
    rows = list(rows[:SHOWN])
    return {"rows": rows, "undo": rows[0].batch if rows else None, "animal": animal} if rows else None


def changes_url(request, animal):
    """Who changed what, for its keepers and the registrar."""
    return reverse("animal-changes", args=[animal.pk]) if animal.is_kept or request.user.is_registrar else None


def health_note_url(request, animal):
    return reverse("health-create", args=[animal.pk]) if animal.is_kept else None


def health(request, animal):
    """Health notes that the member may see, the last one first, with what each corrects; also those of its litter."""
    about = Q(animal=animal) | Q(litter=animal.litter_id) if animal.litter_id else Q(animal=animal)
    return health_values(HealthNote.objects.visible_to(request.user).filter(about), request.user) or None


def health_values(notes, member):
    """What the list of notes is drawn from; nothing when there are none. Struck out notes stay readable too."""
    rows = list(notes.select_related("animal", "litter__dam")[: 2 * SHOWN])
    if not rows:
        return {}
    mine = HealthNote.objects.editable_by(member).filter(pk__in=[row.pk for row in rows])
    mine = set(mine.values_list("pk", flat=True))
    corrected = {row.corrects_id: row for row in rows if row.corrects_id}
    by_key = {row.pk: row for row in rows}
    shown = [row for row in rows if row.pk not in corrected][:SHOWN]
    for row in shown:
        row.earlier, old = [], by_key.get(row.corrects_id)
        while old is not None:
            row.earlier.append(old)
            old = by_key.get(old.corrects_id)
        row.may_edit = row.pk in mine and not row.struck_out
        row.runs = not row.struck_out and row.withdrawal_runs(timezone.localdate())
    return {"rows": shown}


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
