"""What can be compared: five kinds of things, the animals behind each, and which of their looks may count."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import BigIntegerField, Exists, F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse

from clubsite.columns import columns_of
from grading.models import Look
from herds.finding import one_space, suggested
from herds.models import Animal, Herd, Line, LineAnimal, LinePart, Sex
from herds.words import card_words

from .descent import line_animals

SUGGESTED = 12
YEARS = range(1950, 2201)


@dataclass(frozen=True)
class Thing:
    """One of the things that are compared. `breed` is None where it does not matter or is not known."""

    key: int
    name: str
    url: str
    about: str = ""
    breed: int | None = None
    letter: str = ""


@dataclass(frozen=True)
class Kind:
    """A kind of thing.

    animals(keys) : the animals behind the things as (keys, animals), int64 (m,), an entry for each animal of each.
    found(member, keys) : dict of key to Thing of those the member may see.
    offered(member, text, breed) : Things to choose from, those called like `text` or the nearest ones.
    whole : True when the group may count the looks of herds that do not share them, while it is not small.
    """

    code: str
    title: str
    one: str
    many: str
    animals: Callable[[list], tuple]
    found: Callable[[Any, list], dict]
    offered: Callable[[Any, str, Any], list]
    search: str
    whole: bool = False
    of_breed: bool = True
    add: str = field(default="")


def _animal(animal):
    return Thing(animal.pk, str(animal), animal.get_absolute_url(), card_words(animal), animal.breed_id)


def _animals_found(member, keys):
    animals = Animal.objects.visible_to(member).select_related("bred_in").in_bulk(keys)
    return {key: _animal(animal) for key, animal in animals.items()}


def _animals_offered(member, text, breed):
    animals = Animal.objects.visible_to(member).select_related("bred_in")
    if text:
        return [_animal(animal) for animal in suggested(animals, text, member, SUGGESTED)]
    seen = Exists(Look.objects.current().filter(animal=OuterRef("pk")))
    return [_animal(animal) for animal in animals.kept_by(member).here().filter(seen).by_mark()[:SUGGESTED]]


def may_sire(animals):
    """Animals that can have a sire's page: bucks, and whatever is registered as somebody's sire."""
    progeny = Animal.objects.filter(sire=OuterRef("pk"))
    return animals.filter(Q(sex=Sex.BUCK) | Exists(progeny))


def _sire(animal):
    return Thing(animal.pk, str(animal), reverse("sire-detail", args=[animal.pk]), card_words(animal), animal.breed_id)


def _sires_found(member, keys):
    sires = may_sire(Animal.objects.visible_to(member)).select_related("bred_in").in_bulk(keys)
    return {key: _sire(animal) for key, animal in sires.items()}


def _sires_offered(member, text, breed):
    animals = Animal.objects.visible_to(member).select_related("bred_in")
    if text:
        return [_sire(animal) for animal in suggested(may_sire(animals), text, member, SUGGESTED)]
    graded = Exists(Look.objects.current().filter(animal__sire=OuterRef("pk")))
    return [_sire(animal) for animal in animals.kept_by(member).filter(sex=Sex.BUCK).filter(graded)[:SUGGESTED]]


def _lines(member):
    added = LineAnimal.objects.filter(line=OuterRef("pk"), part=LinePart.ADDED).order_by("pk")
    lines = Line.objects.visible_to(member).select_related("foundation", "owner")
    return lines.annotate(
        its_breed=Coalesce(
            F("foundation__breed_id"), Subquery(added.values("animal__breed_id")[:1]), output_field=BigIntegerField()
        ),
    )


def _line(line):
    about = f"from {line.foundation}, {line.get_rule_display()}" if line.foundation_id else "chosen by hand"
    return Thing(line.pk, line.name, line.get_absolute_url(), f"{about}; {line.owner}", line.its_breed)


def _lines_found(member, keys):
    return {key: _line(line) for key, line in _lines(member).in_bulk(keys).items()}


def _lines_offered(member, text, breed):
    lines = _lines(member)
    for word in text.split():
        named = Q(foundation__name__icontains=word) | Q(foundation__mark_text__icontains=word)
        lines = lines.filter(Q(name__icontains=word) | named)
    return [_line(line) for line in lines[:SUGGESTED]]


def _by(query):
    """The `animals` of a Kind from SQL of (key, animal), whose parameter is the keys. One query."""

    def animals(keys):
        found = columns_of(f"SELECT * FROM ({query}) m (key, animal)", [keys], key="int8", animal="int8")  # noqa: S608
        return found["key"], found["animal"]

    return animals


def _herd(herd):
    return Thing(herd.pk, herd.name, herd.get_absolute_url(), herd.region)


def _herds_found(member, keys):
    return {key: _herd(herd) for key, herd in Herd.objects.visible_to(member).in_bulk(keys).items()}


def _herds_offered(member, text, breed):
    herds = Herd.objects.visible_to(member)
    for word in text.split():
        herds = herds.filter(Q(name__icontains=word) | Q(prefix__icontains=word))
    own = Exists(Herd.objects.kept_by(member).filter(pk=OuterRef("pk")))
    return [_herd(herd) for herd in herds.order_by(own.desc(), "name")[:SUGGESTED]]


def _year(year):
    return Thing(year, f"Born in {year}", reverse("year-detail", args=[year]))


def _years_found(member, keys):
    return {key: _year(key) for key in keys if key in YEARS}


def _years_offered(member, text, breed):
    born = Animal.objects.visible_to(member).filter(breed=breed, born_on__isnull=False)
    years = born.order_by("-born_on__year").values_list("born_on__year", flat=True).distinct()
    if text.isdecimal():
        years = years.filter(born_on__year=int(text)) if int(text[:6]) in YEARS else []
    return [_year(year) for year in years[:SUGGESTED]]


KINDS = {
    kind.code: kind
    for kind in (
        Kind(
            "animals", "Animals", "animal", "animals",
            _by("SELECT a.id, a.id FROM herds_animal a WHERE a.id = ANY (%s)"),
            _animals_found, _animals_offered, "Mark or name", of_breed=False,
        ),
        Kind(
            "sires", "Sires", "sire", "sires",
            _by("SELECT a.sire_id, a.id FROM herds_animal a WHERE a.sire_id = ANY (%s)"),
            _sires_found, _sires_offered, "Mark or name of a buck", whole=True,
        ),
        Kind(
            "lines", "Lines", "line", "lines",
            line_animals, _lines_found, _lines_offered, "Name of a line or its foundation",
        ),
        Kind(
            "herds", "Herds", "herd", "herds",
            _by("SELECT a.herd_id, a.id FROM herds_animal a WHERE a.herd_id = ANY (%s)"),
            _herds_found, _herds_offered, "Name or prefix of a herd",
        ),
        Kind(
            "years", "Birth years", "year", "years",
            _by(
                "SELECT y.year, a.id FROM unnest(%s) y (year) JOIN herds_animal a "
                "ON a.born_on >= make_date(y.year::int, 1, 1) AND a.born_on < make_date(y.year::int + 1, 1, 1)"
            ),
            _years_found, _years_offered, "Year of birth", whole=True,
        ),
    )
}  # fmt: skip


def clean_text(text):
    """What was typed into the search, short and with single spaces."""
    return one_space(text)[:80]
