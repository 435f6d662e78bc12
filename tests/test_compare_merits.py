"""Merits in a comparison: single ones by leave, groups by the club's rule, two bucks told apart with their chance."""

from datetime import date

import numpy as np
import pytest
from django.core.cache import cache
from django.urls import reverse
from scipy.stats import linregress, norm

from grading.comparing import merit_part
from grading.models import Merit, Trait
from herds.models import Herd, Line
from pedigrees.actions.inbreeding import refresh_due

from .factories import make_animal, make_evaluation, make_herd, make_look, make_member, make_profile
from .looking import text_of
from .queries import queries_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def club(cast):
    """Two bucks, eight progeny each of three dams in three herds and three birth years; merits of all."""
    cache.clear()
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed, traits=[surface, under])
    cast.herds = [
        make_herd(make_member(f"Owner {n}"), name=f"Herd {n}", shares_merits=True, shares_looks=True) for n in range(3)
    ]
    cast.bucks, cast.kits, merits = [], [], {surface: {}, under: {}}
    rng = np.random.default_rng(6)
    for n, (name, one, other) in enumerate((("Silver", 0.9, 0.4), ("Cinder", 0.1, 0.7))):
        buck = make_animal(cast.herds[n], f"B{n}", sex="buck", name=name, born_on=date(2020, 3, 1))
        cast.bucks.append(buck)
        merits[surface][buck], merits[under][buck] = (one, 0.75), (other, 0.6)
        dams = [make_animal(cast.herds[n], f"D{n}{d}", sex="doe", born_on=date(2020, 3, 1)) for d in range(3)]
        for kit in range(9):
            young = make_animal(
                cast.herds[kit % 3], f"K{n}{kit}", sire=buck, dam=dams[kit % 3], born_on=date(2022 + kit % 3, 3, 1)
            )
            make_look(young, cast.keeper, steps={surface: 5 + n, (under, "loin"): 6})
            merits[surface][young] = (one / 2 + 0.2 * (kit % 3) + rng.normal(0, 0.1), 0.5)
            merits[under][young] = (other / 2 + rng.normal(0, 0.1), 0.5)
            cast.kits.append(young)
    cast.merits = {trait: {animal.pk: value for animal, (value, _) in of.items()} for trait, of in merits.items()}
    cast.run = make_evaluation(cast.sire.breed, merits, genetic=-0.4)
    refresh_due()
    cast.line = Line.objects.create(name="Silver's", foundation=cast.bucks[0], owner=cast.fellow, shared=True)
    cast.other_line = Line.objects.create(name="Cinder's", foundation=cast.bucks[1], owner=cast.fellow, shared=True)
    return cast


def page(club, kind, keys, who="fellow", **more):
    return text_of(club.client_of(who).get(reverse("compare"), {"kind": kind, "with": keys, **more}))


def merits_of(text):
    return text.split('id="merits"', 1)[1].split("</section>", 1)[0]


def test_two_bucks_show_their_merits_their_progenys_and_who_is_likelier_ahead(club):
    text = merits_of(page(club, "sires", [buck.pk for buck in club.bucks]))
    assert "<b>5.9</b>" in text  # reference 5 and merit 0.9
    error = np.sqrt(0.25 * 0.6 + 0.25 * 0.6)
    chance = norm.cdf(0.8 / error)  # the oracle is SciPy's normal distribution
    assert f"By merit A is brighter than B in {chance * 100:.0f} of 100 cases." in text
    assert "By merit B is darker underneath than A" in text
    assert "9 animals" in text
    assert "progeny" in text
    assert (
        "<b>Inbreeding</b>: A 0\u00a0% on average and 0\u00a0% at most, of 9 animals; B 0\u00a0%" in text
    )  # as every page of pedigrees writes it


def test_group_means_spreads_and_trends_are_those_of_numpy_and_scipy(club):
    from grading import merits
    from grading.comparing import sums
    from grading.comparing.kinds import KINDS

    standing = merits.current(club.sire.breed_id)
    chosen = sums.Chosen(KINDS["sires"], [buck.pk for buck in club.bucks], [club.sire.breed_id], [])
    found = merit_part.group_sums(chosen, standing, club.fellow, [])
    for trait, values in club.merits.items():
        own = [values[kit.pk] for kit in club.kits if kit.sire_id == club.bucks[0].pk]
        years = [kit.born_on.year for kit in club.kits if kit.sire_id == club.bucks[0].pk]
        group = found[club.bucks[0].pk, trait.pk]
        assert (group.animals, group.herds) == (9, 3)
        assert group.step == pytest.approx(5 + np.mean(own))
        assert group.sd == pytest.approx(np.std(own, ddof=1))
        # (1 - reliability) x genetic variance, 0.5 x 0.6, is what is not known of each
        error = np.sqrt((np.var(own, ddof=1) + 0.5 * 0.6) / 9)
        assert group.high - group.step == pytest.approx(norm.ppf(0.975) * error)
        line = linregress(years, own)
        assert group.slope == pytest.approx(line.slope)
        assert group.slope_high - group.slope == pytest.approx(norm.ppf(0.975) * line.stderr)


def test_lines_show_merits_spread_trend_and_inbreeding(club):
    text = merits_of(page(club, "lines", [club.line.pk, club.other_line.pk]))
    assert "rising by 0.2" in text
    assert "animals" in text
    assert "on average and" in text


def test_a_herd_that_shares_no_merits_counts_in_no_line_and_its_buck_shows_none(club):
    before = merits_of(page(club, "lines", [club.line.pk, club.other_line.pk]))
    Herd.objects.filter(pk=club.herds[0].pk).update(shares_merits=False)
    after = merits_of(page(club, "lines", [club.line.pk, club.other_line.pk]))
    assert "9 animals" in before
    assert "6 animals" in after
    text = merits_of(page(club, "sires", [buck.pk for buck in club.bucks]))
    assert "not shared" in text
    assert "<b>5.9</b>" not in text
    assert "By merit" not in text
    own = merits_of(page(club, "sires", [buck.pk for buck in club.bucks], who="keeper"))
    assert "not shared" in own


def test_a_sire_of_few_progeny_is_not_ranked_and_no_chance_is_told(club):
    few = make_animal(club.herds[1], "F1", sex="buck", name="Newcomer")
    for trait in club.merits:
        Merit.objects.create(evaluation=club.run.traits.get(trait=trait), animal=few, value=2.0, reliability=0.3)
    text = merits_of(page(club, "sires", [club.bucks[0].pk, few.pk]))
    assert "not ranked: too few" in text
    assert "<b>7.0</b>" not in text
    assert "By merit" not in text


def test_without_a_run_it_says_so_and_years_have_no_part(club):
    club.run.traits.all().delete()
    assert "has not evaluated this breed yet" in merits_of(page(club, "sires", [buck.pk for buck in club.bucks]))
    assert 'id="merits"' not in page(club, "years", [2022, 2023])


def test_the_part_costs_the_same_for_two_and_for_six(club):
    more = [make_animal(club.herds[2], f"M{n}", sex="buck", name=f"More {n}") for n in range(4)]
    client = club.client_of("fellow")

    def cost(keys):
        query = "&".join(f"with={key}" for key in keys)
        return queries_of(client, f"{reverse('compare')}?kind=sires&{query}")

    two = [buck.pk for buck in club.bucks]
    # One less with six: nothing more is offered.
    assert cost([*two, *(m.pk for m in more[:3])]) <= cost(two) <= 32
