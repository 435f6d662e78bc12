"""The sire and year pages against plain computation of the same rows, and who may see what of them."""

import statistics
from datetime import date

import numpy as np
import pytest
from django.urls import reverse
from numpy.testing import assert_allclose
from scipy import stats

from clubsite.members.models import Club
from grading import groups, load, twoway
from grading.models import Look, Trait
from herds.models import Animal

from .factories import make_animal, make_herd, make_look, make_member, make_profile
from .looking import without_tokens

# surface, undercolor of the looks of each progeny; the third was looked at twice
PROGENY = {"P1": [(7, 4)], "P2": [(6, 6)], "P3": [(5, 8), (6, 7)], "P4": [(8, 3)], "P5": [(6, 5)], "P6": [(4, 8)]}


@pytest.fixture
def traits(db):
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    return surface, (undercolor, "loin")


@pytest.fixture
def club_of_three(cast, traits):
    """The sire's six progeny in three herds, by two dams, graded by two members."""
    third = make_herd(make_member("Una Farrow"), name="Farrow")
    Animal.objects.filter(pk__in=[cast.sire.pk, cast.dam.pk, cast.other_buck.pk]).update(born_on=date(2022, 3, 1))
    dams = [cast.dam, make_animal(third, sex="doe", born_on=date(2022, 3, 1))]
    surface, undercolor = traits
    for i, (mark, looks) in enumerate(PROGENY.items()):
        herd = (cast.herd, cast.other_herd, third)[i % 3]
        animal = make_animal(herd, mark, sire=cast.sire, dam=dams[i % 2], born_on=date(2024, 5, 1 + i))
        for j, (shade, under) in enumerate(looks):
            make_look(
                animal,
                cast.grader if j else cast.keeper,
                steps={surface: shade, undercolor: under},
                mode="photo" if i == 0 else "in_hand",
            )
    return cast


def test_means_and_spreads_agree_with_the_statistics_module():
    # Source of the check: Python's statistics module and SciPy's t distribution on the same numbers.
    values = [7.0, 6.0, 5.5, 8.0, 6.0, 4.0]
    found = groups.spread(values)
    assert found.n == 6
    assert_allclose([found.mean, found.sd], [statistics.mean(values), statistics.stdev(values)])
    low, high = stats.t.interval(0.95, 5, loc=statistics.mean(values), scale=stats.sem(values))
    assert_allclose([found.low, found.high], [low, high])


def test_a_spread_of_none_and_of_one_says_no_more_than_it_knows():
    assert groups.spread([float("nan")]) == groups.Spread(0)
    assert groups.spread([5]) == groups.Spread(1, 5.0)


def test_an_animal_counts_once_with_the_mean_of_its_looks():
    animals, means = groups.animal_means([3, 1, 3, 2], [4, 7, 6, float("nan")])
    assert animals.tolist() == [1, 2, 3]
    assert_allclose(means, [7, float("nan"), 5])


def test_like_for_like_takes_the_cell_mean_away_and_leaves_small_cells_out():
    adjusted = groups.like_for_like([6, 4, 5], ["prime", "molt", "rare"], {"prime": 6.5, "molt": 4.5}, 5.5)
    assert_allclose(adjusted, [5.0, 5.0, float("nan")])


def test_the_summary_query_agrees_with_numpy_on_the_same_rows(club_of_three):
    looks = twoway.current_looks(club_of_three.sire.breed_id)
    cells = load.read_cells(club_of_three.sire.breed_id)
    (row,) = [r for r in load.summaries(looks, "sire", cells) if r["key"] == club_of_three.sire.pk]
    surface = [np.mean([s for s, _ in looks]) for looks in PROGENY.values()]
    under = [np.mean([u for _, u in looks]) for looks in PROGENY.values()]
    assert (row["looks"], row["animals"], row["dams"], row["herds"], row["graders"]) == (7, 6, 2, 3, 2)
    assert_allclose([row["surface"], row["surface_sd"]], [np.mean(surface), np.std(surface, ddof=1)])
    assert_allclose([row["undercolor"], row["undercolor_sd"]], [np.mean(under), np.std(under, ddof=1)])
    # Like for like by hand: the six in-hand looks are one cell; the photo's cell has one look and is left out.
    shades = [s for mark, pairs in PROGENY.items() for s, _ in pairs]
    in_hand = shades[1:]
    adjusted = [
        np.mean([s - np.mean(in_hand) + np.mean(shades) for s, _ in pairs]) for pairs in list(PROGENY.values())[1:]
    ]
    assert_allclose([row["surface_like"], row["surface_like_sd"]], [np.mean(adjusted), np.std(adjusted, ddof=1)])


@pytest.mark.parametrize("basis", ["raw", "like"])
def test_the_sire_page_and_the_sire_list_give_the_same_figures(club_of_three, basis):
    breed = club_of_three.sire.breed_id
    looks = twoway.current_looks(breed).filter(animal__sire=club_of_three.sire)
    cells = load.read_cells(breed)
    group = load.group_of(load.look_rows(looks), cells if basis == "like" else None)
    (row,) = load.summaries(looks, "sire", cells)
    end = "_like" if basis == "like" else ""
    for name in load.COLUMNS[:2]:
        assert_allclose([group.spread[name].mean, group.spread[name].sd], [row[name + end], row[name + end + "_sd"]])
    assert group.left_out == (1 if basis == "like" else 0)


def test_years_are_summed_by_birth_year(club_of_three):
    (row,) = load.summaries(
        twoway.current_looks(club_of_three.sire.breed_id), "birth year", load.read_cells(club_of_three.sire.breed_id)
    )
    assert (row["key"], row["animals"], row["herds"]) == (2024, 6, 3)


def test_steps_are_counted_once_an_animal_from_its_last_look(club_of_three, traits):
    counts = load.step_counts(twoway.current_looks(club_of_three.sire.breed_id))
    assert counts[traits[0].pk] == {4: 1, 6: 3, 7: 1, 8: 1}  # P3's last look says 6


def test_a_member_sees_the_dots_of_looks_they_may_see_and_the_whole_club_only_as_a_mean(club_of_three):
    page = club_of_three.client_of("fellow").get(reverse("sire-detail", args=[club_of_three.sire.pk]))
    names = set(page.context["names"].values())
    assert names == {"P2", "P5"}
    assert page.context["group"].animals == 6
    assert "P1" not in without_tokens(page.content.decode())
    assert page.context["others"] == 4


def test_a_small_group_is_held_back_and_only_ones_own_is_shown(club_of_three):
    Club.objects.update_or_create(pk=1, defaults={"smallest_group_animals": 7})
    page = club_of_three.client_of("fellow").get(reverse("sire-detail", args=[club_of_three.sire.pk]))
    assert page.context["group"].animals == 2
    assert "Held back" in page.content.decode()


def test_a_stranger_to_every_herd_sees_no_figures_of_a_small_group(club_of_three):
    Club.objects.update_or_create(pk=1, defaults={"smallest_group_herds": 4})
    page = club_of_three.client_of("grader").get(reverse("sire-detail", args=[club_of_three.sire.pk]))
    assert page.context["group"].animals == 0
    assert page.context["panels"][0].svg == ""


def test_nobody_is_ranked_under_five_progeny_of_two_dams():
    club = Club()
    assert twoway.not_ranked(5, 2, club) == ""
    assert "4 progeny" in twoway.not_ranked(4, 2, club)
    assert "1 dam" in twoway.not_ranked(9, 1, club)


def test_sires_too_few_to_rank_stand_below_the_ranked_ones(club_of_three, traits):
    Club.objects.update_or_create(pk=1, defaults={"ranking_progeny": 2})
    bright = make_animal(club_of_three.herd, sex="buck", born_on=date(2022, 3, 1))
    for i in range(2):
        kit = make_animal(club_of_three.herd, sire=bright, dam=club_of_three.dam, born_on=date(2024, 3, 1 + i))
        make_look(kit, club_of_three.keeper, steps={traits[0]: 9, traits[1]: 9})
    page = club_of_three.client_of("keeper").get(reverse("sire-list"), {"sort": "-surface"})
    keeper_sees = [row["sire"] for row in page.context["page"]]
    assert keeper_sees[-1] == bright


def test_a_superseded_look_counts_no_more(club_of_three, traits):
    old = Look.objects.filter(animal__mark_text="P1").get()
    Look.objects.filter(pk=old.pk).update(current=False)
    rows = load.look_rows(twoway.current_looks(club_of_three.sire.breed_id))
    assert old.pk not in rows.look.tolist()


@pytest.mark.parametrize(
    ("name", "args"),
    [("sire-list", []), ("compare", []), ("year-list", []), ("sire-detail", ["sire"]), ("year-detail", [2024])],
)
@pytest.mark.parametrize(("who", "status"), [("visitor", 302), ("fellow", 200), ("officer", 200)])
def test_members_read_the_pages_and_visitors_sign_in_first(club_of_three, name, args, who, status):
    args = [club_of_three.sire.pk if arg == "sire" else arg for arg in args]
    assert club_of_three.client_of(who).get(reverse(name, args=args)).status_code == status


def test_a_doe_without_a_sires_part_and_an_empty_year_are_not_found(club_of_three):
    client = club_of_three.client_of("keeper")
    assert client.get(reverse("sire-detail", args=[club_of_three.dam.pk])).status_code == 404
    assert client.get(reverse("year-detail", args=[1987])).status_code == 404


def test_the_earlier_address_of_a_comparison_still_leads_to_it(club_of_three):
    client = club_of_three.client_of("keeper")
    sires = [club_of_three.sire, club_of_three.other_buck]
    answer = client.get(reverse("sire-compare"), {"sire": [sire.pk for sire in sires]}, follow=True)
    assert [thing.name for thing in answer.context["asked"].things] == [str(sire) for sire in sires]


@pytest.mark.parametrize("more", [0, 12])
def test_the_sire_pages_cost_the_same_for_many_looks(club_of_three, traits, more, django_assert_max_num_queries):
    make_profile(club_of_three.sire.breed)
    for i in range(more):
        kit = make_animal(
            club_of_three.herd, sire=club_of_three.sire, dam=club_of_three.dam, born_on=date(2024, 8, 1 + i)
        )
        make_look(kit, club_of_three.keeper, steps={traits[0]: 5, traits[1]: 6})
    client = club_of_three.client_of("keeper")
    client.get(reverse("sire-detail", args=[club_of_three.sire.pk]))  # what is kept club-wide is worked out once
    with django_assert_max_num_queries(30):
        client.get(reverse("sire-detail", args=[club_of_three.sire.pk]))
    with django_assert_max_num_queries(12):
        client.get(reverse("sire-list"))


def test_the_list_of_sires_as_csv_holds_the_same_rows(club_of_three):
    answer = club_of_three.client_of("keeper").get(reverse("sire-list"), {"as": "csv"})
    lines = answer.content.decode().splitlines()
    assert lines[0].startswith("sire,herd,animals")
    assert lines[1].startswith("A1 Slate,Ashgrove,")
