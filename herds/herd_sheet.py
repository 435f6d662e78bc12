"""A herd as a sheet that the registry reads again without a difference: every animal, with what identifies it."""

from django.db.models import OuterRef, Prefetch, Subquery

from clubsite.spreadsheets import harmless

from .models import Animal, Mark, MarkKind, Weight

KINDS = {
    MarkKind.LEFT_EAR: "left-ear mark",
    MarkKind.RIGHT_EAR: "right-ear mark",
    MarkKind.RING: "ring",
    MarkKind.REGISTRATION: "registration number",
}
HEADS = (
    *KINDS.values(), "name", "sex", "birth date", "sire", "dam", "breeder", "breed", "variety", "weight g",
    "day of the weight", "where it is now", "notes",
)  # fmt: skip


def herd_rows(herd):
    """Lists of text in the order of HEADS, for all animals that belong to the herd, here or gone. Three queries."""
    marks = Prefetch("marks", Mark.objects.current().as_read(), to_attr="current_marks")
    last = Weight.objects.filter(animal=OuterRef("pk"), herd=herd).order_by("-on", "-pk")
    animals = Animal.objects.filter(herd=herd).by_mark().select_related("breed", "bred_in")
    animals = animals.prefetch_related(
        marks, *(Prefetch(role, Animal.objects.prefetch_related(marks)) for role in ("sire", "dam"))
    ).annotate(last_grams=Subquery(last.values("grams")[:1]), last_on=Subquery(last.values("on")[:1]))
    for animal in animals:
        texts = {mark.kind: mark.text for mark in reversed(animal.current_marks)}
        yield [
            harmless(cell)
            for cell in (
                *(texts.get(kind, "") for kind in KINDS), animal.name, animal.get_sex_display(),
                animal.born_on.isoformat() if animal.born_on else "", called(animal.sire), called(animal.dam),
                str(animal.bred_in) if animal.bred_in_id else animal.breeder_name, animal.breed, animal.variety,
                animal.last_grams or "", animal.last_on.isoformat() if animal.last_on else "",
                animal.get_status_display(), animal.notes,
            )
        ]  # fmt: skip


def called(parent):
    """How a parent is named so that it is found again: by registration number, else by mark and name."""
    if parent is None:
        return ""
    registered = [mark.text for mark in parent.current_marks if mark.kind == MarkKind.REGISTRATION]
    return registered[0] if registered else " ".join(filter(None, (parent.mark_text, parent.name)))
