"""The sires that break the trade-off: chances beside another library, who is listed, who may read, what is refused."""

import re

import numpy as np
import pytest
from django.core.cache import cache
from django.urls import reverse
from scipy.stats import multivariate_normal

from grading import merit_words, trade_off
from grading.models import Trait
from herds.models import Herd

from .factories import make_animal, make_evaluation, make_herd, make_look, make_member, make_profile
from .looking import text_of
from .queries import queries_of

pytestmark = pytest.mark.django_db
PAGE = "sire-both"


@pytest.mark.parametrize("correlation", [-0.6, 0.0, 0.4])
def test_chances_are_those_of_another_library(correlation):
    """The oracle is SciPy's multivariate normal distribution function, which integrates numerically."""
    steps = np.array([[6.1, 6.4], [5.2, 7.0], [7.5, 5.1]])
    errors = np.array([[0.4, 0.5], [0.6, 0.3], [0.2, 0.7]])
    mean, goal = (5.5, 5.8), ((6, 8), (6, 8))
    found = trade_off.chances(steps, errors, correlation, mean, [[0.4, -0.1], [-0.1, 0.3]], goal)
    for n, (step, error) in enumerate(zip(steps, errors, strict=True)):
        between = correlation * error[0] * error[1]
        true = multivariate_normal(-step, [[error[0] ** 2, between], [between, error[1] ** 2]])
        assert found.both[n] == pytest.approx(true.cdf(-np.array(mean)), abs=1e-5)  # P(X > m) = P(-X < -m)
        forward = multivariate_normal(step, [[error[0] ** 2, between], [between, error[1] ** 2]])
        box = forward.cdf([8.5, 8.5]) - forward.cdf([5.5, 8.5]) - forward.cdf([8.5, 5.5]) + forward.cdf([5.5, 5.5])
        assert found.goal[n] == pytest.approx(box, abs=1e-5)


def test_steps_above_the_line_and_their_error_are_those_of_drawn_merits():
    rng = np.random.default_rng(4)
    errors, correlation, covariance = (0.5, 0.3), -0.4, [[0.5, -0.2], [-0.2, 0.4]]
    between = correlation * errors[0] * errors[1]
    drawn = rng.multivariate_normal([6.2, 6.5], [[0.25, between], [between, 0.09]], 200_000)
    found = trade_off.chances([[6.2, 6.5]], [errors], correlation, (5.5, 5.8), covariance)
    above = drawn[:, 1] - 5.8 + 0.4 * (drawn[:, 0] - 5.5)
    assert found.above[0] == pytest.approx(above.mean(), abs=0.005)
    assert found.error[0] == pytest.approx(above.std(), abs=0.005)
    assert np.isnan(found.goal[0])


@pytest.fixture
def club(cast):
    """Three sharing herds; bucks with merits on every side, the first ones with six progeny of two dams looked at."""
    cache.clear()
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed, traits=[surface, under])
    herds = [make_herd(make_member(f"Owner {n}"), name=f"Herd {n}", shares_merits=True) for n in range(3)]
    cast.bucks, merits = {}, {surface: {}, under: {}}
    for n, (name, one, other) in enumerate(
        [("Both", 1.2, 1.1), ("Nearly", 0.8, 0.8), ("Bright", 1.5, -1.0), ("Dark", -0.8, 1.4), ("Young", 1.4, 1.4)]
    ):
        buck = make_animal(herds[n % 3], f"B{n}", sex="buck", name=name)
        cast.bucks[name] = buck
        merits[surface][buck], merits[under][buck] = (one, 0.8), (other, 0.8)
        dams = [make_animal(herds[n % 3], f"D{n}{d}", sex="doe") for d in range(2)]
        for kit in range(3 if name == "Young" else 6):
            young = make_animal(herds[n % 3], f"K{n}{kit}", sire=buck, dam=dams[kit % 2], born_on=None)
            make_look(young, cast.keeper, steps={surface: 6})
            merits[surface][young], merits[under][young] = (one / 2, 0.5), (other / 2, 0.5)
    cast.herds = herds
    cast.run = make_evaluation(cast.sire.breed, merits, genetic=-0.5)
    return cast


def names(page):
    main = page.split("<main", 1)[1]
    return [name for name in ("Both", "Nearly", "Bright", "Dark", "Young") if f" {name}</a>" in main]


def test_only_those_above_the_club_in_both_and_with_enough_progeny_are_listed_the_likeliest_first(club):
    page = text_of(club.client_of("fellow").get(reverse(PAGE)))
    assert names(page) == ["Both", "Nearly"]
    assert page.index(" Both</a>") < page.index(" Nearly</a>")
    assert "of 100" in page
    assert re.search(r"goes with [+\u2212]\d\.\d\d steps of undercolor", page)
    assert not re.search(r"[ (>]-\d", re.sub("(?s)<svg.*?</svg>", "", page.split("<main", 1)[1]))
    assert re.search(r"[+\u2212]\d\.\d steps <span class=\"small muted\">\(", page)


def test_merits_that_are_not_shared_are_read_by_nobody_else(club):
    Herd.objects.filter(pk=club.herds[0].pk).update(shares_merits=False)
    page = text_of(club.client_of("fellow").get(reverse(PAGE)))
    assert "Both" not in names(page)
    assert "Nearly" in names(page)


def test_the_list_goes_out_as_a_file_with_the_same_numbers(club):
    lines = text_of(club.client_of("fellow").get(reverse(PAGE), {"as": "csv"})).splitlines()
    assert len(lines) == 3
    assert lines[1].startswith("B0 Both,Herd 0,6.20,")
    assert club.client_of("fellow").get(reverse(PAGE), {"as": "csv", "file": "xlsx"}).status_code == 200


def test_without_an_evaluation_or_with_a_small_club_it_says_why_there_is_no_list(cast, club):
    cast.run.traits.all().delete()
    assert merit_words.NO_RUN in text_of(club.client_of("fellow").get(reverse(PAGE)))
    cache.clear()
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    few = [club.bucks["Both"], club.bucks["Dark"], club.bucks["Bright"]]
    make_evaluation(cast.sire.breed, {surface: dict.fromkeys(few, (1, 0.5)), under: dict.fromkeys(few, (1, 0.5))})
    assert "too few merits" in text_of(club.client_of("fellow").get(reverse(PAGE)))


def test_the_page_costs_the_same_for_two_sires_and_for_many(club):
    client = club.client_of("fellow")
    few = queries_of(client, reverse(PAGE))
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    by_trait = {each.trait: each for each in club.run.traits.all()}
    from grading.models import Merit

    for n in range(10):
        buck = make_animal(club.herds[1], f"M{n}", sex="buck", name=f"More {n}")
        dams = [make_animal(club.herds[1], f"MD{n}{d}", sex="doe") for d in range(2)]
        for kit in range(5):
            young = make_animal(club.herds[1], f"MK{n}{kit}", sire=buck, dam=dams[kit % 2], born_on=None)
            make_look(young, club.keeper, steps={surface: 6})
        for trait in (surface, under):
            Merit.objects.create(evaluation=by_trait[trait], animal=buck, value=1.0, reliability=0.7)
    assert queries_of(client, reverse(PAGE)) == few <= 16
