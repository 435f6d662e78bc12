"""Comparing two to six of one kind: figures against Python's own statistics of the same rows, and who sees what."""

import csv
import io
import random
import statistics
from datetime import date, timedelta

import numpy as np
import pytest
from django.urls import reverse
from numpy.testing import assert_allclose

from clubsite.members.models import Club
from grading.comparing import footing, lineup, plot, sums
from grading.models import Answer, Look, Trait
from herds.models import Animal, Grant, Herd, Line

from .factories import make_animal, make_herd, make_look, make_member, make_photo, make_profile
from .queries import queries_of

SURFACE, UNDER = "surface_shade", "undercolor"


@pytest.fixture
def club(cast):
    """Two lines of bucks with young in three herds, one of which shares no looks; looks of all kinds, seeded."""
    rng = random.Random(7)
    cast.profile = make_profile(cast.sire.breed)
    cast.third = make_herd(make_member("Una Farrow"), name="Farrow", shares_looks=True)
    Animal.objects.filter(pk__in=[cast.sire.pk, cast.other_buck.pk, cast.dam.pk]).update(born_on=date(2020, 3, 1))
    herds = [cast.herd, cast.other_herd, cast.third]
    traits = {trait.code: trait for trait in Trait.objects.all()}
    dams = [cast.dam, make_animal(cast.third, sex="doe", born_on=date(2020, 3, 1))]
    for buck in (cast.sire, cast.other_buck):
        for number in range(9):
            young = make_animal(herds[number % 3], sex="doe", sire=buck, dam=dams[number % 2],
                                born_on=date(2024 + number % 2, 1 + number, 1))  # fmt: skip
            for _ in range(rng.choice([1, 1, 2, 3])):
                steps = {traits[SURFACE]: rng.randint(3, 9), traits["ears_against_body"]: rng.choice([None, 4, 5])}
                steps |= {(traits[UNDER], site): rng.randint(2, 8) for site in ("shoulder", "loin", "rump")}
                age = rng.choice([100, 200, 400])
                make_look(young, rng.choice([cast.keeper, cast.grader]), steps=steps, profile=cast.profile,
                          observed_on=young.born_on + timedelta(days=age), mode=rng.choice(["in_hand"] * 3 + ["photo"]),
                          coat_stage="prime" if age == 400 else "intermediate")  # fmt: skip
    cast.lines = [
        Line.objects.create(name=f"From {buck.name}", foundation=buck, owner=cast.keeper, shared=True)
        for buck in (cast.sire, cast.other_buck)
    ]
    return cast


def compare(client, kind, keys, **more):
    return client.get(reverse("compare"), {"kind": kind, "with": keys, **more})


def plain_figures(looks, trait):
    """(looks, animals, mean, sd) of a trait: each look the mean of its places, each animal the mean of its looks."""
    by_animal: dict = {}
    for look in looks:
        steps = [a.step for a in Answer.objects.filter(look=look, trait=trait) if a.step is not None]
        if steps:
            by_animal.setdefault(look.animal_id, []).append(statistics.fmean(steps))
    means = [statistics.fmean(each) for each in by_animal.values()]
    sd = statistics.stdev(means) if len(means) > 1 else None
    return sum(map(len, by_animal.values())), len(means), statistics.fmean(means), sd


def open_looks(club, buck, **like):
    """What the keeper may see look by look: of the herd itself and of the one that shares its looks."""
    looks = Look.objects.filter(animal__sire=buck, animal__herd__in=[club.herd, club.third], current=True)
    return looks.filter(**like)


@pytest.mark.parametrize("basis", ["all", "like"])
def test_means_and_spreads_of_lines_are_those_of_the_same_rows(club, basis):
    like = {"mode": "in_hand", "age_class__code": "intermediate", "coat_stage": "intermediate"}
    more = {"age": "intermediate", "coat": "intermediate"} if basis == "like" else {}
    page = compare(club.client_of("keeper"), "lines", [line.pk for line in club.lines], basis=basis, **more)
    found = page.context["found"]
    assert found.footing.like == (basis == "like")
    checked = 0
    for line in found.lines:
        for cell, buck in zip(line.cells, (club.sire, club.other_buck), strict=True):
            looks = open_looks(club, buck, **(like if basis == "like" else {}))
            given = (cell.figure.looks, cell.figure.animals, cell.figure.mean, cell.figure.sd)
            expected = plain_figures(looks, line.trait)
            assert given[:2] == expected[:2]
            assert_allclose([given[2], given[3]], expected[2:], rtol=1e-12)
            checked += 1
    assert checked == 6
    assert [each.left_out == "" for each in found.standings] == [basis == "all"] * 2


def test_the_ring_is_the_covariance_of_the_animals_means(club):
    found = compare(club.client_of("keeper"), "lines", [line.pk for line in club.lines], basis="all").context["found"]
    means: dict = {}
    for look in open_looks(club, club.sire):
        means.setdefault(look.animal_id, []).append((look.surface, look.undercolor))
    means = np.array([np.mean(each, axis=0) for each in means.values()])
    plane = found.planes[club.lines[0].pk]
    assert_allclose(plane.covariance, np.cov(means.T), rtol=1e-9)
    assert_allclose([plane.surface, plane.undercolor], means.mean(axis=0), rtol=1e-12)


def test_what_is_left_out_is_counted_by_its_reason(club):
    page = compare(club.client_of("keeper"), "lines", [line.pk for line in club.lines], age="senior", coat="prime")
    every = list(open_looks(club, club.sire))
    photos = [look for look in every if look.mode == "photo"]
    at_another_age = [look for look in every if look not in photos and look.age_class.code != "senior"]
    counted = page.context["found"].standings[0]
    assert f"{len(photos)} from photos" in counted.left_out
    assert f"{len(at_another_age)} at another age" in counted.left_out
    assert counted.counts.looks == len(every) - len(photos) - len(at_another_age)
    assert f"{len(photos) + len(at_another_age)} looks left out" in page.content.decode()


def cells_of(rows):
    """The counts of looks in hand that footing chooses from: {(age, coat): [animals of each thing]}."""
    return {
        (key, "all", age, coat, "in_hand"): sums.Counts(looks=number, animals=number)
        for (age, coat), numbers in rows.items()
        for key, number in enumerate(numbers)
        if number
    }


@pytest.mark.parametrize(
    ("rows", "query", "best"),
    [
        ({("junior", "nest"): [9, 2], ("senior", "past_prime"): [5, 4]}, {}, ("senior", "past_prime")),
        ({("junior", "nest"): [90, 80], ("senior", "prime"): [5, 6]}, {}, ("senior", "prime")),
        ({("junior", "nest"): [9, 8], ("senior", "prime"): [5, 1]}, {}, ("junior", "nest")),
        ({("junior", "nest"): [9, 8], ("senior", "prime"): [5, 1]}, {"age": "senior"}, ("senior", "prime")),
        ({("junior", "nest"): [9, 8], ("junior", "prime"): [1, 1]}, {"coat": "prime"}, ("junior", "prime")),
        ({("junior", "nest"): [9, 8]}, {"age": "nonsense", "coat": "molt"}, ("junior", "nest")),
        ({}, {"age": "senior"}, ("", "")),
    ],
)
def test_like_for_like_begins_where_it_serves_all_of_them_best(rows, query, best):
    found = footing.chosen_footing(query, [0, 1], cells_of(rows))
    assert (found.age, found.coat) == best


def test_single_animals_are_told_by_their_last_step_and_the_mean_of_their_looks(club):
    animals = list(Animal.objects.filter(sire=club.sire, herd=club.herd, born_on__lt=date(2025, 12, 1)))[:2]
    surface = Trait.objects.get(code=SURFACE)
    make_look(animals[0], club.keeper, steps={surface: 9}, observed_on=date(2026, 11, 2))
    make_look(animals[0], club.keeper, steps={surface: 2}, observed_on=date(2026, 11, 1))
    found = compare(club.client_of("keeper"), "animals", [a.pk for a in animals], basis="all").context["found"]
    line = next(line for line in found.lines if line.trait == surface)
    looks = Look.objects.filter(animal=animals[0]).order_by("observed_on", "pk")
    steps = [look.surface for look in looks]
    assert (line.cells[0].figure.last, line.cells[0].figure.looks) == (9, len(steps))
    assert_allclose(line.cells[0].figure.mean, statistics.fmean(steps), rtol=1e-12)
    assert_allclose(line.cells[0].figure.sd, statistics.stdev(steps), rtol=1e-12)


@pytest.mark.parametrize("who", ["keeper", "fellow", "mentor", "revoked_mentor", "officer"])
def test_the_herds_open_to_a_member_are_those_whose_looks_they_see_one_by_one(club, who):
    member = getattr(club, who)
    by_look = set(Look.objects.visible_to(member).current().values_list("animal__herd", flat=True))
    with_looks = set(Look.objects.current().values_list("animal__herd", flat=True))
    assert set(sums.open_herds(member)) & with_looks == by_look


def test_whoever_opens_a_shared_address_sees_only_what_they_may(club):
    keys = [club.herd.pk, club.third.pk]
    keeper = compare(club.client_of("keeper"), "herds", keys, basis="all")
    fellow = compare(club.client_of("fellow"), "herds", keys, basis="all")
    assert keeper.context["found"].standings[0].counts.looks > 0
    assert fellow.context["found"].standings[0].counts.looks == 0
    assert "Ashgrove has no finished look that you may see." in fellow.content.decode()
    hidden = Animal.objects.filter(herd=club.herd, looks__isnull=False).values_list("mark_text", flat=True)
    assert all(f">{mark}<" not in fellow.content.decode() for mark in hidden)
    assert any(f">{mark}<" in keeper.content.decode() for mark in hidden)


def test_a_grant_that_ends_takes_its_looks_out_of_a_shared_address(club):
    keys = [club.herd.pk, club.third.pk]
    before = compare(club.client_of("mentor"), "herds", keys, basis="all").context["found"].standings[0]
    Grant.objects.filter(mentor=club.mentor).update(ends_on=date(2020, 1, 1), starts_on=date(2019, 1, 1))
    after = compare(club.client_of("mentor"), "herds", keys, basis="all").context["found"].standings[0]
    assert (before.counts.looks > 0, after.counts.looks) == (True, 0)


def test_a_line_that_is_no_longer_shared_is_missed_without_its_name(club):
    Line.objects.filter(pk=club.lines[1].pk).update(shared=False, name="Secret of Ida")
    third = Line.objects.create(name="Third", foundation=club.dam, owner=club.fellow)
    page = compare(club.client_of("fellow"), "lines", [line.pk for line in [*club.lines, third]])
    text = page.content.decode()
    assert "One of the lines in this comparison can no longer be shown to you." in text
    assert "Secret of Ida" not in text
    assert [thing.name for thing in page.context["asked"].things] == ["From Slate", "Third"]


def test_animals_that_are_gone_are_missed_in_a_sentence(club):
    page = compare(club.client_of("keeper"), "animals", [club.sire.pk, 999_999_999, 999_999_998])
    text = page.content.decode()
    assert "Two of the animals in this comparison can no longer be shown to you." in text
    assert "Choose at least one more animal to compare with A1 Slate." in text
    assert page.status_code == 200


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({}, "Choose two to six animals to compare."),
        ({"kind": "tractors"}, "This address asks for a kind of comparison that there is not."),
        ({"kind": "herds", "with": "drop table"}, "Part of this address names no herd."),
        ({"kind": "years", "with": ["2024", "9" * 18]}, "One of the years in this comparison can no longer be shown"),
        ({"kind": "years", "with": [str(year) for year in range(2015, 2023)]}, "These are 8 years; six at most"),
        ({"kind": "sires", "q": "Nobody"}, "No sire to add answers to “Nobody”."),
        ({"kind": "animals", "with": "٣"}, "Part of this address names no animal."),
    ],
)
def test_an_address_that_makes_no_sense_is_answered_in_a_sentence(club, query, said):
    page = club.client_of("keeper").get(reverse("compare"), query)
    assert page.status_code == 200
    assert said in page.content.decode()


def test_a_birth_year_is_held_back_until_it_has_animals_and_herds_enough(club):
    Herd.objects.update(shares_looks=False)
    page = compare(club.client_of("officer"), "years", [2024, 2025], basis="all")
    assert [each.whole for each in page.context["found"].standings] == [True, True]  # nine animals of three herds each
    assert [each.counts.animals for each in page.context["found"].standings] == [10, 8]
    assert not page.context["found"].animals  # counted, and not one of them named
    Club.objects.update(smallest_group_animals=9)
    held = compare(club.client_of("officer"), "years", [2024, 2025], basis="all").context["found"]
    assert [each.whole for each in held.standings] == [True, False]
    assert held.standings[1].counts.looks == 0
    assert all(cell.figure is None for line in held.lines for cell in line.cells[1:])


def test_a_trait_of_few_animals_is_held_back_within_a_group_that_is_shown(club):
    Herd.objects.update(shares_looks=False)
    rare = Trait.objects.get(code="guard_hair_amount")
    make_look(Animal.objects.filter(herd=club.herd, born_on__year=2024).first(), club.keeper, steps={rare: 8})
    found = compare(club.client_of("officer"), "years", [2024, 2025], basis="all").context["found"]
    line = next(line for line in found.lines if line.trait == rare)
    assert line.cells[0].held
    assert "A 8.0" not in line.svg
    sheet = compare(club.client_of("officer"), "years", [2024, 2025], basis="all", **{"as": "csv"}).content.decode()
    assert next(row for row in csv.reader(io.StringIO(sheet)) if row[2] == rare.name)[4:9] == [
        "held back",
        "",
        "",
        "",
        "",
    ]


def test_a_line_never_counts_what_its_maker_may_not_see(club):
    """A group that a member puts together could be one hidden animal among known ones."""
    line = Line.objects.create(name="Snoop", foundation=club.sire, owner=club.fellow)
    Club.objects.update(smallest_group_animals=1, smallest_group_herds=1)
    standing = compare(club.client_of("fellow"), "lines", [line.pk, club.lines[1].pk], basis="all").context["found"]
    seen = Look.objects.visible_to(club.fellow).current().filter(animal__sire=club.sire).count()
    assert standing.standings[0].counts.looks == seen
    assert 0 < seen < Look.objects.current().filter(animal__sire=club.sire).count()


def test_a_sire_is_not_judged_by_few_progeny_of_one_dam(club):
    page = compare(club.client_of("keeper"), "sires", [club.sire.pk, club.other_buck.pk], basis="all")
    assert "Too few to judge him by" not in page.content.decode()
    Club.objects.update(ranking_progeny=30)
    page = compare(club.client_of("keeper"), "sires", [club.sire.pk, club.other_buck.pk], basis="all")
    assert page.content.decode().count("Too few to judge him by") == 2


def test_the_sheet_holds_the_figures_of_the_page(club):
    query = {"kind": "lines", "with": [line.pk for line in club.lines], "basis": "all"}
    client = club.client_of("keeper")
    found = client.get(reverse("compare"), query).context["found"]
    rows = list(csv.reader(io.StringIO(client.get(reverse("compare"), {**query, "as": "csv"}).content.decode())))
    assert len(rows) - 1 == sum(cell.figure is not None for line in found.lines for cell in line.cells)
    assert rows[1][:3] == ["A", "From Slate", found.lines[0].trait.name]
    assert float(rows[1][6]) == round(found.lines[0].cells[0].figure.mean, 2)


def individual(number, surface, undercolor, key=1):
    return sums.Individual(number, f"M{number}", f"M{number}", 1, surface, undercolor, None, 1, [key])


def test_the_line_up_marks_those_that_are_bright_on_top_and_dark_below():
    animals = [
        individual(1, 8, 2),
        individual(2, 3, 8),
        individual(3, 7, 7, 2),
        individual(4, 3, 3),
        individual(5, 5, None),
    ]
    found = lineup.lined_up(animals, 7, {1: "A", 2: "B"}, ((6, 8), (6, 8)))
    assert [each.animal.animal for each in found.by_surface] == [1, 3, 4, 2] or found.by_surface[0].animal.animal == 1
    assert [each.animal.surface for each in found.by_surface] == [8, 7, 3, 3]  # light to dark
    assert [each.animal.undercolor for each in found.by_undercolor] == [2, 3, 7, 8]  # light to dark
    assert [each.animal.animal for each in found.by_surface if each.both] == [3]
    assert found.said == [
        "Bright on top and dark below, against the pull of the two: M3 (B).",
        "Neither bright on top nor dark below: M4 (A).",
    ]
    assert found.left == 3
    crossing = next(line for line in found.joined if line.both)
    assert crossing is found.joined[-1]
    assert (crossing.x1, crossing.x2) == (150, 250)


def test_each_thing_gets_its_fair_share_of_the_line_up():
    animals = [individual(n, 5, 5, 1) for n in range(40)] + [individual(100 + n, 5, 5, 2) for n in range(3)]
    taken = lineup.fair_share(animals, [1, 2])
    assert len(taken) == lineup.MOST
    assert sum(animal.keys == [2] for animal in taken) == 3


def test_photos_stand_by_view_and_age_and_only_those_that_may_be_seen(club):
    mine, theirs = Animal.objects.filter(sire=club.sire, herd=club.herd)[0], club.other_buck
    for animal, view, days in (
        (mine, "left_side", 300),
        (mine, "left_side", 60),
        (mine, "top", 300),
        (theirs, "left_side", 300),
    ):
        make_photo(animal, view=view, taken_on=animal.born_on + timedelta(days=days), state="ready", width=4, height=3)
    page = compare(club.client_of("keeper"), "animals", [mine.pk, theirs.pk], view="left_side", at="senior")
    rows = page.context["photos"].rows
    assert [[photo.view for photo in row] for _, row in rows] == [["left_side"], []]
    assert (rows[0][1][0].taken_on - mine.born_on).days == 300
    Herd.objects.filter(pk=club.other_herd.pk).update(shares_photos=True)
    page = compare(club.client_of("keeper"), "animals", [mine.pk, theirs.pk], view="left_side", at="any")
    assert [len(row) for _, row in page.context["photos"].rows] == [2, 1]


@pytest.mark.parametrize("kind", ["animals", "sires", "lines", "herds", "years"])
def test_a_comparison_costs_the_same_for_six_things_and_many_looks(club, kind):
    more = [Line.objects.create(name=f"L{n}", foundation=club.dam, owner=club.keeper).pk for n in range(4)]
    keys = {
        "animals": list(
            Animal.objects.filter(looks__isnull=False, herd=club.herd).distinct().values_list("pk", flat=True)
        ),
        "sires": [club.sire.pk, club.other_buck.pk, *(make_animal(club.herd, sex="buck").pk for _ in range(4))],
        "lines": [*(line.pk for line in club.lines), *more],
        "herds": list(Herd.objects.values_list("pk", flat=True)) + [make_herd().pk for _ in range(3)],
        "years": [2024, 2025, 2020, 2021, 2022, 2023],
    }[kind]
    client = club.client_of("keeper")
    address = f"{reverse('compare')}?kind={kind}&basis=all&with="
    two = queries_of(client, address + "&with=".join(map(str, keys[:2])) + "&q=x")
    for animal in Animal.objects.filter(sire=club.sire, looks__isnull=False).distinct():
        for day in range(3):
            make_look(
                animal, club.keeper, steps={Trait.objects.get(code=SURFACE): 5}, observed_on=date(2026, 1, 1 + day)
            )
    five = queries_of(client, address + "&with=".join(map(str, keys[:5])) + "&q=x")
    assert two == five
    assert five <= 26


def test_dots_at_one_place_are_moved_apart_and_stay_within_half_a_step():
    moved = plot.apart([individual(number, 5, 6) for number in range(20)])
    places = np.array([(x, y) for _, x, y in moved])
    gaps = np.hypot(*(places[:, None] - places[None]).T) + np.eye(20)
    assert gaps.min() > 0.09
    assert np.abs(places - [5, 6]).max() < 0.5
    assert places[0].tolist() == [5, 6]


def test_of_a_large_group_an_even_part_is_measured_and_said_so(club, monkeypatch):
    """Which animals are drawn hangs on their keys, so that of six at times all are: more are never fewer."""
    keys, drawn = [line.pk for line in club.lines], []
    for measured in (1, 2, 3, 4):
        monkeypatch.setattr(footing, "MEASURED", measured)
        page = compare(club.client_of("keeper"), "lines", keys, basis="all")
        found = page.context["found"]
        assert [each.share for each in found.standings] == [measured / each.counts.animals for each in found.standings]
        cells = found.lines[0].cells if found.lines else ()  # of one in six at times none is drawn
        drawn.append([cell.figure.animals if cell.figure else 0 for cell in cells] or [0] * len(keys))
    assert drawn == sorted(drawn)
    whole = [standing.counts.animals for standing in found.standings]
    assert all(few < all_of for few, all_of in zip(drawn[0], whole, strict=True))
    surface = found.lines[0]
    again = compare(club.client_of("keeper"), "lines", [line.pk for line in club.lines], basis="all").context["found"]
    assert again.lines[0].cells[0].figure == surface.cells[0].figure
    assert "are drawn evenly for this table" in page.content.decode()
    assert found.planes[club.lines[0].pk].n == found.standings[0].counts.animals  # the plot counts all
