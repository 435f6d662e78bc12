"""How a comparison counts: against the same rows one by one, for every kind and member, and what is drawn of many."""

from datetime import date

import numpy as np
import pytest
from django.db import connection

from grading import merits
from grading.comparing import footing, merit_part, sums
from grading.comparing.kinds import KINDS
from grading.models import Look
from herds.models import Animal, Herd, Line

from .factories import make_look
from .looking import text_of
from .test_compare import club as club_of_looks  # noqa: F401 - a fixture
from .test_compare import compare
from .test_compare_merits import club as club_of_merits  # noqa: F401 - a fixture
from .test_compare_merits import merits_of, page


@pytest.fixture
def club(club_of_looks):  # noqa: F811
    return club_of_looks


def things_of(club, kind):
    """{key: the animals behind it} by plain queries."""
    if kind == "lines":
        return {line.pk: list(line.members()) for line in club.lines}
    field = {"animals": "pk", "sires": "sire", "herds": "herd", "years": "born_on__year"}[kind]
    keys = {
        "animals": list(Animal.objects.filter(looks__isnull=False).distinct().values_list("pk", flat=True)[:3]),
        "sires": [club.sire.pk, club.other_buck.pk],
        "herds": [club.herd.pk, club.other_herd.pk, club.third.pk],
        "years": [2024, 2025],
    }[kind]
    return {key: list(Animal.objects.filter(**{field: key})) for key in keys}


def chosen_for(member, kind, keys, breed):
    return sums.Chosen(KINDS[kind], keys, [breed], sums.open_herds(member))


def numbers(looks):
    """Counts of looks, one by one."""
    animals = {look.animal for look in looks}
    dams, herds = ({getattr(animal, name) for animal in animals} - {None} for name in ("dam_id", "herd_id"))
    return sums.Counts(len(looks), len(animals), len(dams), len(herds), len({look.observer_id for look in looks}))


def cell_of(look):
    return look.age_class.code if look.age_class else "", look.coat_stage, look.mode


@pytest.mark.parametrize("who", ["keeper", "officer"])
@pytest.mark.parametrize("kind", list(KINDS))
def test_counts_of_each_kind_of_look_are_those_of_the_rows(club, kind, who):
    young = Animal.objects.filter(sire=club.sire, herd=club.third)[0]
    make_look(young, club.grader, age_class=None, coat_stage="nest", mode="photo")
    outside = Animal.objects.filter(sire=club.sire, herd=club.other_herd)[0]
    Animal.objects.filter(pk=outside.pk).update(herd=None, dam=None, status="outside")
    things = things_of(club, kind)
    of_thing, of_cell = sums.counts(chosen_for(getattr(club, who), kind, list(things), club.sire.breed_id))
    may = set(Look.objects.visible_to(getattr(club, who)).values_list("pk", flat=True))
    expected, expected_cells = {}, {}
    for key, animals in things.items():
        every = list(Look.objects.current().filter(animal__in=animals).select_related("animal", "age_class"))
        mine = [look for look in every if look.pk in may]
        for scope, looks in (("all", every if KINDS[kind].whole else mine), ("open", mine)):
            if looks:
                expected[key, scope] = numbers(looks)
            for cell in {cell_of(look) for look in looks}:
                expected_cells[(key, scope, *cell)] = numbers([look for look in looks if cell_of(look) == cell])
    assert of_thing == expected
    assert of_cell == expected_cells
    assert of_thing


def test_looks_that_may_not_count_are_never_read(club):
    """Herds, lines and animals read only what is open; sires and years read all, and name only what is open."""
    Herd.objects.update(shares_looks=False)
    keys = [line.pk for line in club.lines]
    assert len(chosen_for(club.officer, "lines", keys, club.sire.breed_id).looks.place) == 0
    sires = chosen_for(club.officer, "sires", [club.sire.pk, club.other_buck.pk], club.sire.breed_id)
    assert len(sires.looks.place) == Look.objects.current().filter(animal__sire__isnull=False).count()
    assert sums.individuals(sires, sums.Footing(False), 50) == []
    assert sums.planes(sires, sums.Footing(False), []) == {}


def test_an_animal_of_two_lines_counts_in_both_and_is_named_once(club):
    other = Line.objects.create(name="From Birch", foundation=club.dam, rule="all", owner=club.keeper)
    keys = [club.lines[0].pk, other.pk]
    chosen = chosen_for(club.keeper, "lines", keys, club.sire.breed_id)
    animals = sums.individuals(chosen, sums.Footing(False), 50)
    members = [{animal.pk for animal in line.members()} for line in (club.lines[0], other)]
    seen = set(Look.objects.visible_to(club.keeper).current().values_list("animal", flat=True))
    assert {each.animal: set(each.keys) for each in animals} == {
        pk: {key for key, its in zip(keys, members, strict=True) if pk in its}
        for pk in seen & (members[0] | members[1])
    }
    assert any(len(each.keys) == 2 for each in animals)
    assert len({each.animal for each in animals}) == len(animals)


def test_those_looked_at_last_come_first_and_those_without_both_shades_at_the_end(club):
    keys = [line.pk for line in club.lines]
    animals = Animal.objects.filter(sire=club.sire, herd=club.herd)
    for day, animal in enumerate(animals, 1):
        make_look(animal, club.keeper, observed_on=date(2026, 9, day))
    undone = animals[0]
    Look.objects.filter(animal=undone).update(undercolor=None)
    for most in (2, 50):
        found = sums.individuals(chosen_for(club.keeper, "lines", keys, club.sire.breed_id), sums.Footing(False), most)
        mine = [each for each in found if keys[0] in each.keys]
        last = {look.animal_id: look.observed_on for look in Look.objects.current().order_by("observed_on")}
        expected = sorted(mine, key=lambda each: (not each.both, -last[each.animal].toordinal(), -each.animal))
        assert mine == expected
        assert (undone.pk in [each.animal for each in mine]) == (most == 50)
        assert len(mine) <= most


def lots_of(animals):
    """The lot of each animal, as the database draws it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT k, hashint8(k) & 65535 FROM unnest(%s::bigint[]) k", [animals])
        return dict(cursor.fetchall())


def test_what_is_drawn_hangs_on_the_animals_key_alone(club, monkeypatch):
    monkeypatch.setattr(footing, "MEASURED", 3)
    found = compare(club.client_of("keeper"), "lines", [line.pk for line in club.lines], basis="all").context["found"]
    for standing, line in zip(found.standings, club.lines, strict=True):
        looks = Look.objects.visible_to(club.keeper).current().filter(animal__in=line.members())
        animals = set(looks.values_list("animal", flat=True))
        drawn = {pk for pk, lot in lots_of(list(animals)).items() if lot < round(3 / len(animals) * 65536)}
        of_surface = {look.animal_id for look in looks if look.surface is not None} & drawn
        cell = next(cell for cell in found.lines[0].cells if cell.thing == standing.thing)
        assert (cell.figure.animals if cell.figure else 0) == len(of_surface)


def test_of_many_merits_some_are_drawn_and_said_so(club_of_merits, monkeypatch):  # noqa: F811
    """Whose merit may not be read is neither drawn nor counted among those that are drawn from."""
    club = club_of_merits
    assert "are drawn evenly for these merits" not in merits_of(page(club, "lines", [club.line.pk, club.other_line.pk]))
    Herd.objects.filter(pk=club.herds[0].pk).update(shares_merits=False)
    Herd.objects.filter(pk=club.herds[1].pk).update(shares_looks=False)  # its merits may be read all the same
    standing = merits.current(club.sire.breed_id)
    open_kits = [kit.pk for kit in club.kits[:9] if kit.herd_id != club.herds[0].pk]
    lots = lots_of(open_kits)
    for most in range(1, 6):
        monkeypatch.setattr(merit_part, "DRAWN", most)
        chosen = chosen_for(club.fellow, "lines", [club.line.pk], club.sire.breed_id)
        found = merit_part.group_sums(chosen, standing, club.fellow, [])
        drawn = [pk for pk in open_kits if lots[pk] < round(most / len(open_kits) * 65536)]
        for trait, values in club.merits.items():
            group = found.get((club.line.pk, trait.pk))
            assert (group.animals if group else 0) == len(drawn)
            if group:
                assert group.drawn_from == len(open_kits)
                assert group.step == pytest.approx(5 + np.mean([values[pk] for pk in drawn]))
        text = merits_of(page(club, "lines", [club.line.pk, club.other_line.pk]))
        said = f"Of the 6 animals of Silver&#x27;s that were looked at, some {most} are drawn evenly for these merits."
        assert (said in text) == bool(drawn)


def test_a_comparison_shows_a_change_at_once(club):
    """Nothing of it is kept: a look, a herd that shares no more and an animal that moves tell on the next page."""
    keys = [line.pk for line in club.lines]
    client = club.client_of("officer")

    def looks():
        return compare(client, "lines", keys, basis="all").context["found"].standings[0].counts.looks

    before = looks()
    young = Animal.objects.filter(sire=club.sire, herd=club.third)[0]
    make_look(young, club.keeper)
    assert looks() == before + 1
    its = Look.objects.current().filter(animal=young).count()
    Animal.objects.filter(pk=young.pk).update(herd=club.herd)
    assert looks() == before + 1 - its
    Herd.objects.filter(pk=club.third.pk).update(shares_looks=False)
    assert looks() == 0
    assert "has no finished look that you may see" in text_of(compare(client, "lines", keys))
