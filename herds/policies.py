"""Who may change which part of an animal's identity, and the sentence that says why not."""

from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Q
from django.utils import timezone

from herds.models import Animal, Herd, Transfer
from herds.panels import animal_ties

FREE_DAYS = 30
IDENTITY = {"sex": "sex", "born_on": "birth date", "sire": "sire", "dam": "dam", "breeder": "breeder"}


@dataclass(frozen=True)
class IdentityRule:
    """What a member may do to an animal's identity: fill in what is unknown, change what is known; why not."""

    may_fill: bool
    may_change: bool
    why_not: str = ""


def keeps(animal, member):
    """True for an animal of the member's own herds."""
    return animal.herd_id is not None and Herd.objects.kept_by(member).filter(pk=animal.herd_id).exists()


def identity_rule(animal, member, now=None):
    """The keeper (of an outside ancestor: who logged it) until others build on the animal; the registrar always."""
    if getattr(member, "is_registrar", False):
        return IdentityRule(may_fill=True, may_change=True)
    if not keeps(animal, member) and not (animal.herd_id is None and animal.logged_by_id == member.pk):
        return IdentityRule(may_fill=False, may_change=False, why_not="Only its owner and the registrar change this.")
    why_not = next((sentence for sentence in ties(animal, member, now)), "")
    return IdentityRule(may_fill=True, may_change=not why_not, why_not=why_not)


def ties(animal, member, now=None):
    """Sentences that say what already stands on this identity, the cheapest to find out first."""
    if (now or timezone.now()) - animal.logged_at > timedelta(days=FREE_DAYS):
        yield f"{animal} has been in the registry for more than {FREE_DAYS} days, so the registrar changes this."
    if young := Animal.objects.filter(Q(sire=animal) | Q(dam=animal)).first():
        yield f"{young} is recorded as progeny of {animal}, so the registrar changes this."
    if Transfer.objects.filter(animal=animal, outcome=Transfer.Outcome.ACCEPTED).exists():
        yield f"{animal} came from another herd, so the registrar changes this."
    for tie in animal_ties():
        if what := tie.sentence(animal, member):
            yield what
