"""What is remembered of herds, animals and the log: identity for the registrar too, all the rest for the keepers."""

from django.db.models import Q

from clubsite.members.models import READERS, TIES, Audience, Member, remember
from herds.units import weight_words

from .animal import Animal
from .animal_grant import AnimalGrant
from .breeding import Kit, Litter, LitterEvent, Mating, MatingEvent
from .care import Decision, Quarantine, Weight
from .duplicate import PossibleDuplicate
from .health import HealthNote
from .herd import Grant, Herd, Ownership
from .identity import Correction, Mark, Transfer

OF_ITS_ANIMAL = {"animal": "it.animal_id", "herd": "(SELECT a.herd_id FROM herds_animal a WHERE a.id = it.animal_id)"}
OF_ITS_LITTER = {"herd": "(SELECT l.herd_id FROM herds_litter l WHERE l.id = it.litter_id)", "parent": "litter"}
GRAMS = {"grams": lambda grams, reader: weight_words(grams, reader.weight_unit)}


def identity_readers(member):
    """Registrars read every card's changes; others those of the animals and herds that they keep now."""
    if member.is_registrar:
        return Q()
    kept = Q(animal_id__in=Animal.objects.kept_by(member).values("pk"))
    return kept | Q(animal_id__isnull=True, herd_id__in=Herd.objects.kept_by(member).values("pk"))


def keepers(member):
    """What a herd logs stays with the herd where it was logged: a new owner does not inherit it."""
    return Q(herd_id__in=Herd.objects.kept_by(member).values("pk"))


def grant_readers(member):
    return keepers(member) | Q(person_id=member.pk)


TIES.update(animal="herds.animal", herd="herds.herd")
READERS[Audience.IDENTITY] = identity_readers
READERS[Audience.KEEPERS] = keepers
READERS[Audience.GRANT] = grant_readers


def card(told):
    return told.tied("animal") or " ".join(filter(None, (told.about("mark_text"), told.about("name")))) or "an animal"


def mark(told):
    """A replaced mark is told as the change that it is."""
    kind, (_, new_text), ended = told.about("kind"), told.pair("text"), told.pair("replaced_on")[1]
    if told.removed:
        return None
    if (new := told.pair("replaced_by_id")[1]) and ended:
        return f"changed the {kind} from {told.about('text')} to {new}"
    if ended and not new_text:
        return f"ended the {kind} {told.about('text')}"
    return None


def ownership(told):
    who, herd = told.name(Member, told.change.person_id), told.tied("herd") or "a herd"
    if told.made:
        return f"made {who} an owner of {herd}"
    if told.pair("until")[1]:
        return f"ended the ownership of {who} in {herd}"
    return None


def grant(told):
    who, herd = told.name(Member, told.change.person_id), told.tied("herd") or "a herd"
    if told.made:
        return f"opened {herd} to {who} as mentor until {told.pair('ends_on')[1]}"
    if told.pair("revoked_at")[1]:
        return f"closed {herd} to {who} as mentor"
    return None


def animal_grant(told):
    who, animal = told.name(Member, told.change.person_id), told.tied("animal") or "an animal"
    if told.made:
        return f"opened {animal} to {who} for a review until {told.pair('ends_on')[1]}"
    if told.pair("revoked_at")[1]:
        return f"closed {animal} to {who}"
    return None


remember(
    Herd,
    "Herd",
    lambda told: told.tied("herd") or told.about("name"),
    audience=Audience.IDENTITY,
    public=["name", "prefix", "region", "closed_on"],
    leave_out=["slug", "made_at"],
    about=["name"],
    herd="it.id",
)
remember(
    Ownership,
    "Owners",
    lambda told: f"the ownership of {told.name(Member, told.change.person_id)}",
    audience=Audience.IDENTITY,
    herd="it.herd_id",
    person="it.member_id",
    made=True,
    tell=ownership,
)
remember(
    Grant,
    "Grants",
    lambda told: f"the grant of {told.name(Member, told.change.person_id)} for {told.tied('herd') or 'a herd'}",
    audience=Audience.GRANT,
    leave_out=["made_at", "granted_by_id", "revoked_by_id"],
    herd="it.herd_id",
    person="it.mentor_id",
    made=True,
    tell=grant,
)
remember(
    AnimalGrant,
    "Grants",
    lambda told: f"the grant of {told.name(Member, told.change.person_id)} for {told.tied('animal') or 'an animal'}",
    audience=Audience.GRANT,
    leave_out=["made_at", "granted_by_id", "revoked_by_id"],
    animal="it.animal_id",
    herd="it.herd_id",
    person="it.mentor_id",
    made=True,
    tell=animal_grant,
)
remember(
    Animal,
    "Card",
    card,
    audience=Audience.IDENTITY,
    public=[
        "herd_id", "breed_id", "name", "sex", "variety", "born_on", "sire_id", "dam_id", "litter_id", "bred_in_id",
        "breeder_name", "imported",
    ],
    leave_out=["mark_text"],
    about=["mark_text", "name"],
    animal="it.id",
    herd="it.herd_id",
)  # fmt: skip
remember(
    Mark,
    "Marks",
    "the {kind} {text}",
    audience=Audience.IDENTITY,
    about=["kind", "text"],
    itself="text",
    tell=mark,
    **OF_ITS_ANIMAL,
)
remember(
    Transfer,
    "Transfers",
    lambda told: f"the transfer of {told.tied('animal') or 'an animal'}",
    audience=Audience.IDENTITY,
    public=["animal_id", "from_herd_id", "to_herd_id", "on", "outcome"],
    leave_out=["offered_at", "offered_by_id", "settled_at", "settled_by_id"],
    animal="it.animal_id",
    herd="it.from_herd_id",
)
remember(Correction, "Card", "a correction on the card", audience=Audience.IDENTITY, **OF_ITS_ANIMAL)
remember(
    PossibleDuplicate,
    "Duplicates",
    "two cards that may be one animal",
    audience=Audience.IDENTITY,
    leave_out=["settled_at", "settled_by_id"],
    animal="it.first_id",
)
remember(
    Mating,
    "Matings",
    "the mating of {mated_on}",
    named_with=["doe", "buck"],
    about=["mated_on"],
    animal="it.doe_id",
    herd="it.herd_id",
)
remember(
    MatingEvent,
    "Matings",
    "“{kind}” of {on}",
    about=["kind", "on"],
    herd="(SELECT m.herd_id FROM herds_mating m WHERE m.id = it.mating_id)",
    animal="(SELECT m.doe_id FROM herds_mating m WHERE m.id = it.mating_id)",
    parent="mating",
)
remember(
    Litter,
    "Litters",
    "the litter of {born_on}",
    about=["born_on"],
    animal="it.dam_id",
    herd="it.herd_id",
    named_with=["dam"],
)
remember(LitterEvent, "Litters", "“{kind}” of {on}", about=["kind", "on"], **OF_ITS_LITTER)
remember(Kit, "Litters", "kit {number}", about=["number"], named_with=["litter__dam"], **OF_ITS_LITTER)
remember(
    Weight,
    "Weights",
    "the weight of {on}",
    about=["on"],
    animal="it.animal_id",
    herd="it.herd_id",
    itself="grams",
    units=GRAMS,
)
remember(
    Decision,
    "Decisions",
    "the decision of {decided_on}",
    about=["decided_on"],
    leave_out=["batch", "made_at", "by_id"],
    animal="it.animal_id",
    herd="it.herd_id",
    itself="verdict",
)
remember(
    Quarantine,
    "Quarantine",
    "the quarantine from {started_on}",
    about=["started_on"],
    animal="it.animal_id",
    herd="it.herd_id",
)
remember(
    HealthNote,
    "Health",
    "the health note of {on}",
    named_with=["animal", "litter__dam"],
    about=["on"],
    animal="it.animal_id",
    herd="it.herd_id",
)
