"""What belongs to a line, against a plain walk over the same pedigree, and who may see and change one."""

import random
from datetime import date, timedelta

import pytest

from herds.models import Animal, Line, LineAnimal, LinePart, LineRule

from .factories import make_breed


def plain_members(line, animals):
    """The same rule as the database's, one animal after another in order of birth."""
    named = dict(line.named_animals.values_list("animal", "part"))
    members = {line.foundation_id} if line.foundation_id else set()
    for animal in sorted(animals, key=lambda each: (each.born_on, each.pk)):
        if animal.pk == line.foundation_id or named.get(animal.pk) == LinePart.LEFT_OUT:
            continue
        for parent, by_sire in ((animal.sire_id, True), (animal.dam_id, False)):
            goes_on = {
                LineRule.ALL: True,
                LineRule.BUCKS: by_sire,
                LineRule.DOES: not by_sire,
                LineRule.CHOSEN: named.get(parent) == LinePart.PASSES_ON,
            }
            if parent in members and (parent == line.foundation_id or goes_on[line.rule]):
                members.add(animal.pk)
    return members | {pk for pk, part in named.items() if part == LinePart.ADDED}


@pytest.fixture
def pedigree(db):
    """Six generations of eight, sires and dams drawn from the two before; seeded."""
    rng = random.Random(31)
    breed, start = make_breed(), date(2015, 1, 1)
    rows = []
    for generation in range(6):
        for number in range(8):
            earlier = rows[max(0, generation - 2) * 8 : generation * 8]
            bucks, does = [[a for a in earlier if a.sex == sex] for sex in ("buck", "doe")]
            rows.append(
                Animal.objects.create(
                    breed=breed, sex=("buck", "doe")[number % 2], status="outside", name=f"G{generation}N{number}",
                    born_on=start + timedelta(days=300 * generation + number),
                    sire=rng.choice(bucks) if bucks and rng.random() < 0.9 else None,
                    dam=rng.choice(does) if does and rng.random() < 0.9 else None,
                )
            )  # fmt: skip
    return rows


@pytest.mark.parametrize("rule", [rule for rule in LineRule if rule != LineRule.BY_HAND])
@pytest.mark.parametrize("first", [0, 1])
def test_a_line_holds_what_a_plain_walk_finds(pedigree, cast, rule, first):
    line = Line.objects.create(name="Test", foundation=pedigree[first], rule=rule, owner=cast.keeper)
    parts = [(pedigree[8 + i], LinePart.PASSES_ON) for i in range(8)] + [(pedigree[20], LinePart.PASSES_ON)]
    parts += [(pedigree[17], LinePart.LEFT_OUT), (pedigree[26], LinePart.LEFT_OUT), (cast.sire, LinePart.ADDED)]
    LineAnimal.objects.bulk_create(LineAnimal(line=line, animal=animal, part=part) for animal, part in parts)
    found = set(line.members().values_list("pk", flat=True))
    assert found == plain_members(line, pedigree)
    assert len(found) >= 3
    for animal in [*pedigree, cast.sire]:
        assert Line.objects.all().with_animal(animal).exists() == (animal.pk in found), animal


def test_a_line_by_hand_is_what_was_put_into_it(cast):
    line = Line.objects.create(name="Keepers", rule=LineRule.BY_HAND, owner=cast.keeper)
    LineAnimal.objects.create(line=line, animal=cast.sire, part=LinePart.ADDED)
    assert list(line.members()) == [cast.sire]  # and not his daughter


def test_a_line_is_seen_by_its_maker_the_herds_keepers_and_when_shared_by_the_club(cast):
    alone = Line.objects.create(name="Alone", foundation=cast.sire, owner=cast.keeper)
    ours = Line.objects.create(name="Ours", foundation=cast.sire, owner=cast.keeper, herd=cast.herd)
    shared = Line.objects.create(name="Shared", foundation=cast.sire, owner=cast.keeper, shared=True)
    assert set(Line.objects.visible_to(cast.keeper)) == {alone, ours, shared}
    assert set(Line.objects.visible_to(cast.co_owner)) == {ours, shared}
    assert set(Line.objects.editable_by(cast.co_owner)) == {ours}
    assert set(Line.objects.visible_to(cast.officer)) == {shared}
    assert not Line.objects.editable_by(cast.officer).exists()


def test_one_query_finds_a_lines_animals(cast, pedigree, django_assert_num_queries):
    line = Line.objects.create(name="Test", foundation=pedigree[0], rule="all", owner=cast.keeper)
    with django_assert_num_queries(1):
        list(line.members())
    with django_assert_num_queries(1):
        list(Line.objects.all().with_animal(pedigree[-1]))
