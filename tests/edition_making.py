"""Editions in the making: drafts for tests of the officer's editor, and files as other clubs send them."""

from datetime import date

from django.urls import reverse

from grading.actions.editions import copy_edition
from grading.models import BreedProfile, Trait
from grading.profiles.differences import compared
from grading.profiles.documents import document_of

from .factories import make_profile

OWN_TRAIT = {
    "name": "Toenail shade", "question": "How dark are the toenails?", "section": 5,
    "low_words": "white", "high_words": "black",
}  # fmt: skip


def edition_things(breed, trait):
    """What the editor's addresses name: a small draft with a position and a trait, and a trait of the club's own."""
    draft = make_profile(breed, traits=[trait], published_at=None, in_force_from=date(2100, 1, 1))
    draft.positions.create(code="whole", name="The whole animal", points=100, position=1)
    own = Trait.objects.create(code="toenail_shade", position=50, **OWN_TRAIT)
    return {
        "draft": draft.pk, "position_code": "whole", "class_code": "senior", "trait_code": trait.code,
        "part_word": "positions", "own_word": "traits", "own_code": own.code,
    }  # fmt: skip


def shipped():
    """The first profile that comes with Argentry."""
    return BreedProfile.objects.get(association="Unofficial example", edition="2026 example")


def make_draft(officer, copied=None, **about):
    """A new edition as the officer's copy makes it, to be in force from 2027."""
    copied = copied or shipped()
    about = {
        "breed": copied.breed, "association": copied.association, "name": copied.name, "edition": "2027 example",
        "in_force_from": date(2027, 1, 1),
    } | about  # fmt: skip
    return copy_edition(copied=copied, by=officer, **about)


def url(name, draft, *args):
    return reverse(f"profile-{name}", args=[draft.pk, *args])


def fields_of(client, address, **changed):
    """What the page's form holds, with some of it typed anew, as a browser would send it."""
    form = client.get(address).context["form"]
    values = {name: form[name].value() for name in form.fields}
    sent = {name: value for name, value in values.items() if value not in (None, "") and value is not False}
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in (sent | changed).items()}


def plain(response):
    return response.text.replace("&#x27;", "'").replace("&quot;", '"')


def difference_words(draft):
    """(section, item, label, before, now) of everything that a draft changes against the shipped profile."""
    return [
        (section.title, title, change.label, change.before, change.now)
        for section in compared(document_of(shipped()), document_of(draft), "kg")
        for title, changes in section.changed
        for change in changes
        if section.title != "About the edition"
    ]
