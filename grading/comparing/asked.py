"""What the address of a comparison asks for, as far as the member may see it, and sentences about the rest.

The address carries everything: the kind, the keys in their order, and how to show them. It can be handed on; whoever
opens it is shown what they may see, and is told in a sentence, without a name, when something is missing.
"""

from dataclasses import dataclass, replace
from urllib.parse import urlencode

from django.http import QueryDict
from django.urls import reverse

from herds.models import Breed

from .kinds import KINDS, clean_text

FEWEST, MOST = 2, 6
LETTERS = "ABCDEF"
NUMBERS = ("no", "one", "two", "three", "four", "five", "six")
KEPT = ("basis", "age", "coat", "view", "at")


@dataclass(frozen=True)
class Asked:
    """One comparison. `things` in the order of the address, lettered; `sentences` about what is not shown."""

    kind: object
    things: list
    sentences: list
    shown: QueryDict
    text: str
    breed: object

    @property
    def enough(self):
        return len(self.things) >= FEWEST

    @property
    def full(self):
        return len(self.things) >= MOST

    @property
    def keys(self):
        return [thing.key for thing in self.things]

    @property
    def breeds(self):
        """The breeds of the things; that of the page where a thing has none of its own."""
        of_things = {thing.breed for thing in self.things if thing.breed is not None}
        return sorted(of_things or ({self.breed.pk} if self.breed else set()))

    @property
    def kept(self):
        """(name, value) of what else the address says."""
        return [(name, self.shown[name]) for name in (*KEPT, "breed") if self.shown.get(name)]

    def address(self, keys=None, **changes):
        """The address with other keys, or shown otherwise; None takes a value out."""
        values = {**dict(self.kept), **changes}
        pairs = [("kind", self.kind.code), *(("with", key) for key in (self.keys if keys is None else keys))]
        pairs += [(name, value) for name, value in values.items() if value]
        return f"{reverse('compare')}?{urlencode(pairs)}"

    def with_one_more(self, thing):
        return self.address([*self.keys, thing.key])

    def without(self, thing):
        return self.address([key for key in self.keys if key != thing.key])


def asked_by(member, query, breed):
    """The Asked of a query string."""
    sentences = []
    kind = KINDS.get(query.get("kind", "animals"))
    if kind is None:
        sentences.append("This address asks for a kind of comparison that there is not. Choose one of the five.")
        kind = KINDS["animals"]
    texts = list(dict.fromkeys(text.strip() for text in query.getlist("with") if text.strip()))
    keys = [int(text) for text in texts if text.isascii() and text.isdecimal() and len(text) < 19]
    if len(keys) < len(texts):
        sentences.append(f"Part of this address names no {kind.one}. Choose again what to compare.")
    found = kind.found(member, keys) if keys else {}
    things = [found[key] for key in keys if key in found]
    sentences += lost(len(keys) - len(things), kind)
    if len(things) > MOST:
        sentences.append(
            f"These are {len(things)} {kind.many}; six at most stand beside one another, so the first six are shown."
        )
    things = [replace(thing, letter=letter) for thing, letter in zip(things, LETTERS, strict=False)]
    return Asked(kind, things, sentences, query, clean_text(query.get("q", "")), breed)


def lost(number, kind):
    """What is said, without a name, of things that are not there or not for this member."""
    if not number:
        return []
    words = NUMBERS[number].capitalize() if number < len(NUMBERS) else str(number)
    return [f"{words} of the {kind.many} in this comparison can no longer be shown to you."]


def too_few(asked):
    """What is still wanted before anything can be compared; empty when there is enough."""
    if asked.enough:
        return ""
    if not asked.things:
        return f"Choose two to six {asked.kind.many} to compare."
    return f"Choose at least one more {asked.kind.one} to compare with {asked.things[0].name}."


def breed_asked(query, breeds):
    """The breed that the address names, else the first of `breeds`; None in a club without one."""
    slug = query.get("breed", "")
    return next((breed for breed in breeds if breed.slug == slug), None) or (breeds[0] if breeds else None)


def all_breeds():
    """The breeds, the one with most animals first."""
    from django.db.models import Count

    return list(Breed.objects.annotate(size=Count("animals")).order_by("-size", "name"))
