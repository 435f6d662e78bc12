"""Finding an animal by what people call it, mark or name, with the prefix or without; case and spaces forgiven."""

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, Value, When
from django.db.models.functions import Coalesce, Concat, Replace, Upper

from .models import PRESENT, Herd, Mark
from .models.natural import NaturalKey


def one_space(text):
    """The text without spaces at its ends, and with single ones inside."""
    return " ".join((text or "").split())


def key(text):
    """What two spellings of one mark or name have in common: 'a 12', 'A-12' and 'A12' have the key 'A12'."""
    return "".join((text or "").split()).replace("-", "").upper()


def Keyed(*parts):
    """The key of the joined parts, computed in the database."""
    joined = Concat(*[Coalesce(F(part), Value("")) for part in parts]) if len(parts) > 1 else F(parts[0])
    return Upper(Replace(Replace(joined, Value(" "), Value("")), Value("-"), Value("")))


def called(animals, text):
    """The animals whose mark (also an earlier one) or name, alone or with the prefix, is exactly this text."""
    wanted = key(text)
    if not wanted:
        return animals.none()
    return animals.alias(
        _name=Keyed("name"),
        _prefix_name=Keyed("bred_in__prefix", "name"),
        _mark_name=Keyed("mark_text", "name"),
        _prefix_mark=Keyed("bred_in__prefix", "mark_text"),
    ).filter(
        Exists(Mark.objects.filter(animal=OuterRef("pk"), key=wanted))
        | Q(_name=wanted)
        | (Q(_prefix_name=wanted) & ~Q(name=""))
        | (Q(_mark_name=wanted) & ~Q(name=""))
        | (Q(_prefix_mark=wanted) & ~Q(mark_text=""))
    )


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
        "_near", NaturalKey("mark_text").asc(nulls_last=True), "name", "pk"
    )
