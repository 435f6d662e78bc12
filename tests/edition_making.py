"""Editions in the making: drafts for tests of the officer's editor, and files as other clubs send them."""

from datetime import date

from grading.actions.editions import copy_edition
from grading.models import BreedProfile, Trait

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
