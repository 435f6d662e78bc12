"""Finding an animal by what people call it, mark or name, with the prefix or without; case and spaces forgiven."""

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, Value, When

from .models import PRESENT, Animal, Herd, Mark
from .models.natural import Keyed


def one_space(text):
    """The text without spaces at its ends, and with single ones inside."""
    return " ".join((text or "").split())


def key(text):
    """What two spellings of one mark or name have in common: 'a 12', 'A-12' and 'A12' have the key 'A12'."""
    return "".join((text or "").split()).replace("-", "").upper()


def called(animals, text):
    """The animals whose mark (also an earlier one) or name, alone or with the prefix, is exactly this text.

    Every part is looked up by an index, so that it takes no longer in a club of many animals.
    """
    wanted = key(text)
    if not wanted:
        return animals.none()
    marked = Mark.objects.filter(key=wanted).values("animal")
    named = Animal.objects.alias(_key=Keyed("name")).filter(_key=wanted).values("pk")
    heads = [wanted[:length] for length in range(1, len(wanted))]
    mark_and_name = (
        Animal.objects.filter(pk__in=Mark.objects.current().filter(key__in=heads).values("animal"))
        .alias(_key=Keyed("mark_text", "name"))
        .filter(_key=wanted)
        .exclude(name="")
        .values("pk")
    )
    parts = [marked, named, mark_and_name]
    for herd in Herd.objects.alias(_key=Keyed("prefix")).filter(_key__in=heads):
        rest = wanted[len(key(herd.prefix)) :]
        bred = Animal.objects.filter(bred_in=herd)
        parts.append(bred.alias(_key=Keyed("name")).filter(_key=rest).values("pk"))
        parts.append(bred.filter(pk__in=Mark.objects.filter(key=rest).values("animal")).values("pk"))
    return animals.filter(pk__in=parts[0].union(*parts[1:]))


def matching(animals, text):
    """The animals that this text may mean: every word in the mark, the name, the prefix or the breeder."""
    words = one_space(text).split()
    if not words:
        return animals
    found = Q()
    for word in words:
        found &= (
            Q(name__icontains=word)
            | Exists(Mark.objects.filter(animal=OuterRef("pk"), key__contains=key(word) or word))
            | Q(bred_in__prefix__icontains=word)
            | Q(bred_in__name__icontains=word)
            | Q(breeder_name__icontains=word)
        )
    return animals.filter(found | Exists(Mark.objects.filter(animal=OuterRef("pk"), key__contains=key(text) or text)))


def nearest_first(animals, member):
    """The member's own animals first, those that are in the herd before those that are gone, then by mark."""
    own = When(herd__in=Herd.objects.kept_by(member), status__in=PRESENT, then=Value(0))
    once = When(herd__in=Herd.objects.kept_by(member), then=Value(1))
    return animals.alias(_near=Case(own, once, default=Value(2), output_field=IntegerField())).order_by(
        "_near", F("mark_order").asc(nulls_last=True), "name", "pk"
    )


def suggested(animals, text, member, most):
    """At most so many animals that a text may mean: called so, then the member's own like it, then the club's."""
    found = list(nearest_first(called(animals, text), member)[:most])
    own = nearest_first(matching(animals.filter(herd__in=Herd.objects.kept_by(member)), text), member)
    all_like = matching(animals, text).order_by(
        "mark_text", "pk"
    )  # a natural order of the whole club would cost a second
    for like in (own, all_like):
        if len(found) < most:
            found = list(dict.fromkeys([*found, *like[:most]]))[:most]
    return found
