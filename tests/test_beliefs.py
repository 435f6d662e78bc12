"""What breeders believe: rows read, small groups held back, graders told of themselves alone, pages in plain words."""

from datetime import timedelta

import numpy as np
import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import Club
from grading.beliefs import pages, reading, words
from grading.beliefs.numbers import Effect
from grading.models import FindingKind, LookFinding, Trait
from herds.models import Herd, Kit

from .factories import make_animal, make_evaluation, make_herd, make_litter, make_look, make_member, make_profile
from .queries import queries_of

pytestmark = pytest.mark.django_db
SLUGS = [belief.slug for belief in words.BELIEFS]


@pytest.fixture
def traits(cast):
    found = {trait.code: trait for trait in Trait.objects.all()}
    make_profile(cast.sire.breed, traits=[found["surface_shade"], found["undercolor"], found["undercolor_reach"]])
    return found


def steps_of(traits, surface, under, reach=None, build=None):
    steps = {traits["surface_shade"]: surface}
    steps |= {(traits["undercolor"], site): under for site in traits["undercolor"].sites}
    if reach is not None:
        steps |= {(traits["undercolor_reach"], site): reach for site in traits["undercolor_reach"].sites}
    if build is not None:
        steps |= {traits[code]: build for code in reading.TYPE[:2]}
    return steps


def answer_of(member, cast, slug):
    return pages.answers_of(member, cast.sire.breed, Club.current(), {slug})[1][0]


def herds_of(cast):
    third = Herd.objects.filter(slug="farrow").first() or make_herd(make_member("Una Farrow"), name="Farrow")
    return [cast.herd, cast.other_herd, third]


# --- white on the head -----------------------------------------------------------------------------------------------


def make_births(cast, traits, *, white, plain, lift=0, spotted=0, litters=8):
    """Grown kits that were looked at for white at birth, over three herds; the white ones `lift` steps brighter."""
    herds, kind = herds_of(cast), FindingKind.objects.get(code="white_spot")
    dams = [make_animal(herds[n % 3], sex="doe", born_on=days(1500)) for n in range(litters)]
    sets = [make_litter(dam, kits=0, born_on=days(500), born_alive=8) for dam in dams]
    for number in range(white + plain):
        place = number % litters
        herd = herds[place % 3]
        kit = make_animal(herd, born_on=days(500), dam=dams[place], litter=sets[place])
        is_white = number < white
        Kit.objects.create(
            litter=sets[place], number=1 + number // litters, animal=kit, white_at=["head"] if is_white else ["none"]
        )
        surface = 5 + number // litters % 2 + (lift if is_white else 0)
        look = make_look(kit, cast.grader, steps=steps_of(traits, surface, 6, 7), finished=False)
        seen = number < spotted
        LookFinding.objects.create(
            look=look, kind=kind, state="seen" if seen else "not_seen", place="head" if seen else ""
        )
        look.finished_at, look.current = timezone.now(), True
        look.save()


def set_herds(number):
    club = Club.current()
    club.smallest_group_herds = number
    club.save()


def days(number):
    return timezone.localdate() - timedelta(days=number)


def test_white_that_molts_out_is_counted_with_its_interval_and_brighter_kits_are_found_brighter(cast, traits):
    make_births(cast, traits, white=16, plain=24, lift=2, spotted=2)
    answer = answer_of(cast.fellow, cast, "white-on-the-head")
    # Wilson's interval of 14 in 16 by his formula: 0.640 to 0.965
    assert answer.verdict.startswith("White on the head molted out in 88\xa0% (64 to 97\xa0%) of 16 kits")
    said = " ".join(answer.told)
    assert "steps brighter than the others" in said
    # and of none in 24: 0 to 0.138
    assert (
        "somewhere in 12\xa0% (3 to 36\xa0%) of 16 with white on the head, and in 0\xa0% (0 to 14\xa0%) of 24" in said
    )
    assert "In undercolor darkness they were like the others" in said
    assert "16 grown kits with white on the head from 8 litters were set beside 24 without from 8." in said
    (table,) = answer.tables
    shown = {row[0]: row for row in table.rows}
    assert shown["Surface shade, as graded"][1].startswith("+2.")
    assert shown["Surface shade, beside litter mates alone"][3] == 40


def test_too_few_kits_with_white_are_said_with_how_many_are_wanted(cast, traits):
    make_births(cast, traits, white=4, plain=24)
    answer = answer_of(cast.fellow, cast, "white-on-the-head")
    assert not answer.verdict
    assert answer.tables == []
    assert (
        "Not enough rows yet: 4 kits with white on the head at birth were graded grown, and it takes 10."
        in answer.untold
    )


def test_kits_of_too_few_herds_are_held_back(cast, traits):
    make_births(cast, traits, white=16, plain=24)
    set_herds(4)
    answer = answer_of(cast.fellow, cast, "white-on-the-head")
    assert not answer.verdict
    assert any("Held back" in sentence for sentence in answer.untold)


# --- darker coats ----------------------------------------------------------------------------------------------------


def test_darker_coats_that_go_deeper_are_found_with_graders_taken_out(cast, traits):
    """Undercolor darker by half a step for each step of a darker surface; a lenient grader hides it until taken out."""
    herds = herds_of(cast)
    lenient = make_member("Lenient Hand")
    for number in range(40):
        animal = make_animal(herds[number % 3], born_on=days(500))
        level = 3 + number % 5
        hand, lift = (lenient, 2) if level < 5 else (cast.grader, 0)
        make_look(animal, hand, steps=steps_of(traits, level + lift, 9 - (level + 1) // 2, 5 + number % 2))
    answer = answer_of(cast.fellow, cast, "darker-coats")
    raw = {row[0]: row for row in answer.tables[0].rows}["Undercolor darkness, as graded"]
    leans = {
        f"{lenient.pk}:{timezone.localdate().year}": [1.2, 16],
        f"{cast.grader.pk}:{timezone.localdate().year}": [-0.8, 24],
    }
    run = make_evaluation(
        cast.sire.breed,
        {traits[code]: {} for code in ("surface_shade", "undercolor", "undercolor_reach")},
        genetic=-0.5,
    )
    run.traits.filter(trait=traits["surface_shade"]).update(fixed={"grader and year": leans})
    cache.clear()  # figures are kept for ten minutes
    answer = answer_of(cast.fellow, cast, "darker-coats")
    right = {row[0]: row for row in answer.tables[0].rows}["Undercolor darkness, grader, age and season out"]
    assert abs(number_of(right[1]) - number_of(raw[1])) > 0.1
    assert number_of(right[1]) == pytest.approx(0.5, abs=0.1)
    assert "steps darker underneath" in answer.verdict
    assert any("what breeds darker coats breeds darker undercolor" in sentence for sentence in answer.told)
    assert any("no tie can be told" in sentence or "tenths" in sentence for sentence in [answer.verdict, *answer.told])


def number_of(text):
    return float(text.replace("−", "-"))


def test_too_few_grown_animals_say_nothing_of_how_traits_go_together(cast, traits):
    for number in range(5):
        make_look(make_animal(cast.herd, born_on=days(500)), cast.grader, steps=steps_of(traits, 4 + number, 6))
    answer = answer_of(cast.fellow, cast, "darker-coats")
    assert answer.untold == [
        "Not enough rows yet: 5 grown animals with surface and undercolor graded, and it takes 30."
    ]


# --- type and grade --------------------------------------------------------------------------------------------------


def make_swayed(cast, traits, halo=0.6):
    """Four graders look at the same 24 animals; one gives better-built animals a brighter coat."""
    rng, herds = np.random.default_rng(11), herds_of(cast)
    people = [cast.keeper, cast.grader, cast.mentor, cast.fellow]
    for number in range(24):
        animal = make_animal(herds[number % 3], born_on=days(500))
        build, coat = int(rng.integers(3, 9)), 5 + rng.normal(0, 0.7)
        for person in people:
            sway = halo * (build - 5.5) if person == cast.grader else 0
            surface = int(np.clip(round(coat + sway + rng.normal(0, 0.4)), 1, 9))
            make_look(animal, person, steps=steps_of(traits, surface, 6, build=build))
    return people


def test_a_grader_swayed_by_type_reads_it_and_others_read_only_of_themselves(cast, traits):
    make_swayed(cast, traits)
    swayed = answer_of(cast.grader, cast, "type-and-grade")
    assert "Of 4 graders with enough looks, 1 gives a better-built animal a brighter coat" in swayed.verdict
    assert any(sentence.startswith("Your grades are swayed") for sentence in swayed.told)
    (table,) = swayed.tables
    assert [row[0] for row in table.rows] == ["You"]
    assert number_of(table.rows[0][1]) == pytest.approx(0.6, abs=0.15)
    honest = answer_of(cast.keeper, cast, "type-and-grade")
    assert not any(sentence.startswith("Your grades are swayed") for sentence in honest.told)
    assert any("type sways your grades cannot be told" in said or "not swayed by type" in said for said in honest.told)
    assert [row[0] for row in honest.tables[0].rows] == ["You"]
    assert answer_of(cast.registrar, cast, "type-and-grade").tables == []


def test_officers_see_the_graders_without_names_on_the_whole_page(cast, traits):
    make_swayed(cast, traits)
    answer = answer_of(cast.officer, cast, "type-and-grade")
    assert [row[0] for row in answer.tables[0].rows] == ["Grader 1", "Grader 2", "Grader 3", "Grader 4"]
    page = cast.client_of("officer").get(reverse("belief-detail", args=["type-and-grade"])).content.decode()
    assert "Grader 1" in page
    for person in (cast.keeper, cast.grader, cast.mentor, cast.fellow):
        assert person.name not in page


def test_under_three_graders_nobody_is_listed(cast, traits):
    rng = np.random.default_rng(3)
    for number in range(12):
        animal = make_animal(cast.herd, born_on=days(500))
        for person in (cast.keeper, cast.grader):
            make_look(animal, person, steps=steps_of(traits, int(rng.integers(4, 8)), 6, build=3 + number % 5))
    officer = answer_of(cast.officer, cast, "type-and-grade")
    assert not officer.verdict
    assert officer.tables == []
    assert "2 graders have 10 looks" in officer.untold[0]
    assert "it takes 3" in officer.untold[0]


# --- fade ------------------------------------------------------------------------------------------------------------


def make_fading(cast, traits, sires, animals=6, slope=-1):
    """Progeny of each sire looked at three years running, over three herds; undercolor moves by `slope` a year."""
    herds = herds_of(cast)
    for sire in sires:
        for number in range(animals):
            kit = make_animal(herds[number % 3], sire=sire, born_on=days(1500 + 3 * number))
            for year in range(3):
                under = int(np.clip(8 + slope * year + (number + year) % 2, 1, 9))
                on = days(1100 - 365 * year)
                make_look(kit, cast.grader, steps=steps_of(traits, 6, under), observed_on=on)


def old_buck(cast, mark):
    return make_animal(cast.herd, mark, sex="buck", name=f"Old {mark}", born_on=days(2500))


def test_fade_is_told_for_the_club_and_by_sire_with_few_refused(cast, traits):
    one, two, three = (old_buck(cast, mark) for mark in ("F1", "F2", "F3"))
    make_fading(cast, traits, [one, two])
    alone = make_animal(cast.herd, sire=three, born_on=days(1500))
    for year in range(2):
        make_look(alone, cast.grader, steps=steps_of(traits, 6, 7 - year), observed_on=days(1000 - 365 * year))
    answer = answer_of(cast.fellow, cast, "fading")
    assert answer.verdict.startswith("Undercolor fades by ")
    (table,) = answer.tables
    assert table.rows[0][0] == "All the club"
    assert {row[0] for row in table.rows[1:]} == {"F1 Old F1", "F2 Old F2"}
    assert any("Not enough rows yet for 1 more sire" in sentence for sentence in answer.untold)
    assert any("too few to say whether sires differ" in sentence for sentence in answer.told)
    page = cast.client_of("fellow").get(reverse("belief-detail", args=["fading"])).content.decode()
    assert reverse("sire-detail", args=[one.pk]) in page


def test_a_sire_whose_progeny_stand_in_too_few_herds_is_held_back_from_those_who_may_not_see_them(cast, traits):
    one = old_buck(cast, "F1")
    set_herds(2)
    for _ in range(6):
        kit = make_animal(cast.herd, sire=one, born_on=days(1500))
        for year in range(3):
            make_look(kit, cast.grader, steps=steps_of(traits, 6, 8 - year), observed_on=days(1000 - 365 * year))
    fellow, keeper = answer_of(cast.fellow, cast, "fading"), answer_of(cast.keeper, cast, "fading")
    assert fellow.tables == []
    assert any("1 sire is held back" in sentence for sentence in fellow.untold)
    assert [row[0] for row in keeper.tables[0].rows] == ["F1 Old F1"]


# --- pages -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("slug", SLUGS)
def test_an_empty_club_is_told_what_is_missing_and_no_figure(cast, traits, slug):
    page = cast.client_of("fellow").get(reverse("belief-detail", args=[slug])).content.decode()
    assert "Not enough rows yet" in page
    assert not any(word in page for word in (">nan<", "None", "nan "))


def test_the_list_says_each_belief_and_leads_to_it(cast, traits):
    make_swayed(cast, traits)
    page = cast.client_of("fellow").get(reverse("belief-list")).content.decode()
    for belief in words.BELIEFS:
        assert reverse("belief-detail", args=[belief.slug]) in page
    assert "Not enough rows yet" in page
    assert "Of 4 graders with enough looks" in page


def test_a_belief_that_nobody_holds_and_a_breed_that_is_none_are_not_found(cast, traits):
    client = cast.client_of("fellow")
    assert client.get(reverse("belief-detail", args=["moon-phase"])).status_code == 404
    assert client.get(reverse("belief-detail", args=["fading"]), {"breed": "moon"}).status_code == 404


def test_the_pages_are_reached_from_sires_years_and_the_menu(cast, traits):
    make_look(cast.daughter, cast.grader, steps=steps_of(traits, 6, 6))
    client, link = cast.client_of("fellow"), f'href="{reverse("belief-list")}"'
    for name, times in (("sire-list", 2), ("year-list", 2), ("today", 1)):
        assert client.get(reverse(name)).content.decode().count(link) == times


@pytest.mark.parametrize("slug", SLUGS)
def test_a_pages_queries_are_few_and_do_not_grow(cast, traits, slug):
    make_swayed(cast, traits)
    make_fading(cast, traits, [old_buck(cast, mark) for mark in ("F1", "F2")])
    client = cast.client_of("officer")
    assert queries_of(client, reverse("belief-detail", args=[slug])) <= 9
    assert queries_of(client, reverse("belief-list")) <= 9


def test_words_say_what_an_effect_can_and_cannot_tell():
    sure = Effect(50, 20, 0.6, 0.2, 1.0)
    close = Effect(500, 90, 0.05, -0.1, 0.2)
    open_ = Effect(20, 8, 0.4, -0.6, 1.4)
    assert words.difference_words("surface", sure) == "They were 0.60 steps brighter than the others (0.20 to 1.00)."
    assert "a difference of half a step would have shown" in words.difference_words("undercolor", close)
    assert "no difference can be told yet" in words.difference_words("reach", open_)
    assert (
        words.deep_words("undercolor", sure) == "A coat one step darker is 0.60 steps darker underneath (0.20 to 1.00)."
    )
    faded = "Undercolor fades by 0.60 steps a year after the first birthday (0.20 to 1.00)."
    assert words.fade_words(words.turned(sure)) == faded
    assert words.turned(sure) == Effect(50, 20, -0.6, -1.0, -0.2)
    assert words.shares(Effect(16, 16, 0.875, 0.64, 0.965)) == "88\xa0% (64 to 96\xa0%)"
