"""The planner's expectations from merits: the textbook's Mendelian variance, simulated kits, who may read."""

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from numpy.testing import assert_allclose
from scipy import stats

from grading import kits_by_merit, merits
from grading.evaluation import Records, Variances, reliability, solve
from grading.kits_by_merit import Parents, expected, mendelian_share, together
from grading.models import Trait
from grading.two_normals import inside
from pedigrees import kinship
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.planning.reading import plan_of

from .evaluation import made
from .factories import make_animal, make_evaluation, make_look, make_profile
from .kinship.gallery import CHECKS, rows_of
from .kinship.oracles import tabular_relationship
from .queries import queries_of
from .test_planner import born, page_of

# --- numbers ---------------------------------------------------------------------------------------------------------


def test_mendelian_variance_falls_with_the_parents_inbreeding_as_in_the_textbook():
    # Quaas 1976 and Henderson 1976: 1/2 - (F_sire + F_dam) / 4 of the genetic variance, both parents known
    for of_sire, of_dam, variance in CHECKS["mendelian"]["expect"]["both"]:
        assert mendelian_share([of_dam], [of_sire])[0, 0] == pytest.approx(variance)


def test_mendelian_variance_of_three_matings_is_that_of_the_animal_model():
    # computed from the animal model of Mrode and Thompson by definition; additive variance 20
    check = CHECKS["progeny"]
    row, sire, dam = rows_of(CHECKS[check["given"]["uses"]]["given"]["pedigree"])
    f = kinship.inbreeding(sire, dam)
    for line in check["expect"]["rows"]:
        found = dict(zip(check["expect"]["columns"], line, strict=True))
        share = mendelian_share([f[row[found["one"]]]], [f[row[found["other"]]]])[0, 0]
        assert 20 * share == pytest.approx(found["mendelian"], abs=check["tolerance"])


def test_what_is_left_of_a_kit_beside_both_parents_is_the_relationship_matrix_less_its_regression():
    """The same from normal theory: A_kk - A_kp inv(A_pp) A_pk, over a full-sib line, where parents grow inbred."""
    sire, dam = [-1, -1, 0, 0, 2, 2, 4, 4], [-1, -1, 1, 1, 3, 3, 5, 5]
    relationship = tabular_relationship(sire, dam)
    f = np.diag(relationship) - 1
    for kit in (2, 4, 6):
        parents = [sire[kit], dam[kit]]
        across = relationship[kit, parents]
        left = relationship[kit, kit] - across @ np.linalg.solve(relationship[np.ix_(parents, parents)], across)
        assert mendelian_share([f[dam[kit]]], [f[sire[kit]]])[0, 0] == pytest.approx(left)
    assert f[6] == pytest.approx(0.375)  # Falconer and Mackay, full-sib mating (from memory)


def test_kits_of_well_known_parents_spread_less_and_a_merit_not_read_says_nothing():
    does = Parents(np.array([1.0, 1.0, np.nan]), np.array([1.0, 0.0, np.nan]), np.zeros(3))
    bucks = Parents(np.array([0.0]), np.array([1.0]), np.zeros(1))
    mean, spread = expected(does, bucks, 0.8, 0.2)
    assert_allclose(mean[:, 0], [0.5, 0.5, np.nan])
    assert_allclose(spread[:, 0] ** 2, [0.4 + 0.2, 0.4 + 0.2 + 0.8 / 4, np.nan])


def test_without_any_looks_kits_spread_as_the_breed_does():
    """Parents of whom nothing is known: Mendelian half and two quarters make the whole genetic variance."""
    nobody = Parents(np.zeros(1), np.zeros(1), np.zeros(1))
    assert expected(nobody, nobody, 0.7, 0.0)[1][0, 0] ** 2 == pytest.approx(0.7)
    assert together((nobody, nobody), (nobody, nobody), -0.3, -0.1)[0, 0] == pytest.approx(-0.4)


GOAL = ((5, 6), (5, 6))


def _chances(standing, does, bucks, genetic, lasting, correlation):
    """(d, b) chance of both goals from Parents of both traits, as the page reckons; merit 0 stands at `standing`."""
    sides = [(doe, buck) for doe, buck in zip(does, bucks, strict=True)]
    (first, one), (second, other) = (expected(*side, genetic[i, i], lasting[i, i]) for i, side in enumerate(sides))
    between = together(*sides, correlation * np.sqrt(genetic[0, 0] * genetic[1, 1]), lasting[0, 1])
    ends = [[goal[place] + shift for goal in GOAL] for place, shift in ((0, -0.5), (1, 0.5))]
    return inside(*ends, (first + standing, second + standing), (one, other), between / (one * other))


@pytest.mark.slow
def test_simulated_kits_land_in_both_goals_as_often_as_is_stated():
    """Clubs made up with known truth, evaluated from their looks, their next kits drawn from the parents' true merits.

    One kit a pair and each parent in one pair only, so that kits are independent but for the shared evaluation. The
    interval is the binomial one (scipy, Clopper and Pearson) at 99 %.
    """
    genetic = np.array([[0.56, -0.28], [-0.28, 0.56]])
    lasting = np.diag([0.16, 0.16])
    variances = Variances(animal=0.56, permanent=0.16, residual=0.6)
    stated, landed = [], []
    for seed in range(40):
        rng = np.random.default_rng([seed, 42])
        club = made.breed(rng, years=3, herds=3, does=10, bucks=3)
        n = len(club.pedigree)
        true = made.merits(rng, club.pedigree, genetic)
        coat = true + rng.standard_normal((n, 2)) * 0.4
        animal = np.repeat(np.arange(n), 2)
        looks = 5 + coat[animal] + rng.standard_normal((2 * n, 2)) * np.sqrt(0.6)
        found, known = [], None
        for trait in (0, 1):
            records = Records(animal, looks[:, trait], {"mean": np.zeros(2 * n, dtype=int)})
            merit = solve(records, club.pedigree, variances)
            at = merit.fixed["mean"][0]
            known = known if trait else reliability(records, club.pedigree, variances)  # the same looks tell both
            found.append((merit.merit, known, at))
        young = rng.permutation(np.flatnonzero(club.born == club.born.max()))
        half = len(young) // 2
        does, bucks = young[:half], young[half : 2 * half]
        f = club.pedigree.inbreeding
        sides = [
            [Parents(merit[rows] + at - 5, known[rows], f[rows]) for merit, known, at in found]
            for rows in (does, bucks)
        ]
        stated.append(np.diag(_chances(5.0, *sides, genetic, lasting, -0.5)))
        draw = rng.standard_normal((half, 2)) @ np.linalg.cholesky(genetic).T
        share = 0.5 * (1 - (f[does] + f[bucks]) / 2)
        kit = (true[does] + true[bucks]) / 2 + np.sqrt(share)[:, None] * draw + rng.standard_normal((half, 2)) * 0.4
        steps = np.rint(5 + kit)
        landed.append(np.all([(low <= s) & (s <= high) for (low, high), s in zip(GOAL, steps.T, strict=True)], axis=0))
    stated, landed = np.concatenate(stated), np.concatenate(landed)
    assert len(landed) > 2000
    parts = np.array_split(np.argsort(stated), 3)  # as often in each third, by what was stated
    for part in [np.arange(len(stated)), *parts]:
        told = stats.binomtest(int(landed[part].sum()), len(part)).proportion_ci(0.99)
        assert told.low <= stated[part].mean() <= told.high, (stated[part].mean(), landed[part].mean())
    assert stated[parts[2]].mean() > stated[parts[0]].mean() + 0.05


# --- pages -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def leading(cast):
    surface = Trait.objects.get(summary="surface")
    under = Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed, traits=[surface, under])
    return surface, under


def evaluated(cast, leading, values, **given):
    """A stored run; values : {animal: (surface merit, undercolor merit, reliability)}."""
    found = {
        trait: {animal: (row[place], row[2]) for animal, row in values.items()} for place, trait in enumerate(leading)
    }
    return make_evaluation(cast.sire.breed, found, **given)


def test_merits_take_the_place_of_looks_and_the_basis_says_so(cast, leading):
    make_look(cast.dam, cast.keeper, steps={leading[0]: 1})  # looks alone would say nearly black
    make_look(cast.sire, cast.keeper, steps={leading[0]: 1})
    evaluated(cast, leading, {cast.dam: (2.0, 2.0, 0.75), cast.sire: (3.0, 2.0, 0.2)}, genetic=-0.5)
    plan = plan_of(cast.keeper, [cast.dam], [cast.sire])
    pair = plan.pairs[0][0]
    assert (pair.surface.mean, pair.undercolor.mean) == (7.5, 7.0)
    variance = 0.5 * 0.6 + (0.25 + 0.8) / 4 * 0.6 + 0.15
    assert pair.surface.spread == pytest.approx(variance**0.5)
    genetic = -0.5 * 0.6 * (0.5 + (0.25 + 0.8) / 4)
    covariance = [[variance, genetic], [genetic, variance]]
    normal = stats.multivariate_normal([7.5, 7.0], covariance)
    wanted = normal.cdf([8.5, 8.5], lower_limit=[5.5, 5.5])  # scipy's own integral over the goal
    assert pair.chance == pytest.approx(wanted, abs=1e-4)
    today = timezone.localdate()
    assert f"evaluation of {today.day} {today:%b}" in plan.basis
    assert "The doe's merits are well known (reliability 75\xa0%)" in plan.basis
    assert "the buck's merits are hardly known (reliability 20\xa0%)" in plan.basis
    assert "Merits: A2 Birch well known (75\xa0%), A1 Slate hardly known (20\xa0%)." in pair.reasons


def test_a_breed_that_was_never_evaluated_is_planned_by_looks(cast, leading):
    make_look(cast.dam, cast.keeper, steps={leading[0]: 6})
    make_look(cast.sire, cast.keeper, steps={leading[0]: 8})
    plan = plan_of(cast.keeper, [cast.dam], [cast.sire])
    assert plan.pairs[0][0].surface.mean == 7
    assert "parents' own looks" in plan.basis


def test_a_merit_that_may_not_be_read_is_not_used_until_its_herd_shares_it(cast, leading):
    evaluated(cast, leading, {cast.dam: (1.0, 1.0, 0.5), cast.sire: (0.0, 0.0, 0.5), cast.other_buck: (3.0, 3.0, 0.9)})
    cast.other_buck.offered_to_club = True
    cast.other_buck.save()
    known, hidden = plan_of(cast.keeper, [cast.dam], [cast.sire, cast.other_buck]).pairs[0]
    assert known.surface.known
    assert not hidden.surface.known
    assert "You may see no merit of M1 Flint, so nothing can be said of the kits' coats." in hidden.reasons
    page = page_of(cast.client_of("keeper"), cast.herd, [cast.dam], [cast.sire, cast.other_buck])
    assert "nan" not in page.content.decode().lower().replace("finance", "")
    cast.other_herd.shares_merits = True
    cast.other_herd.save()
    shared = plan_of(cast.keeper, [cast.dam], [cast.sire, cast.other_buck]).pairs[0][1]
    assert shared.surface.mean == 7.0


def test_where_no_pair_has_merits_on_both_sides_looks_are_used(cast, leading):
    evaluated(cast, leading, {cast.dam: (1.0, 1.0, 0.5)})
    make_look(cast.dam, cast.keeper, steps={leading[0]: 6})
    make_look(cast.sire, cast.keeper, steps={leading[0]: 8})
    assert plan_of(cast.keeper, [cast.dam], [cast.sire]).pairs[0][0].surface.mean == 7


def test_inbred_parents_leave_their_kits_less_to_draw(cast, leading):
    """Stored inbreeding of a quarter on both sides: three quarters of the draw, and errors 1 + F as large."""
    brother = make_animal(cast.herd, "A7", sex="buck", sire=cast.sire, dam=cast.dam, born_on=born(500))
    sister = make_animal(cast.herd, "A8", sex="doe", sire=cast.sire, dam=cast.dam, born_on=born(500))
    pair = [
        make_animal(cast.herd, f"I{place}", sex=sex, sire=brother, dam=sister, born_on=born(300))
        for place, sex in enumerate(("doe", "buck"))
    ]
    refresh_due()
    evaluated(cast, leading, dict.fromkeys(pair, (0.0, 0.0, 0.4)))
    spread = plan_of(cast.keeper, pair[:1], pair[1:]).pairs[0][0].surface.spread
    assert spread**2 == pytest.approx(0.6 * (0.5 * 0.75 + 2 * 0.6 * 1.25 / 4) + 0.15)


def test_a_trait_in_which_nothing_is_inherited_gives_every_pair_the_breeds_step(cast, leading):
    nothing = {"animal": 0.0, "permanent": 0.15, "litter": 0.0, "residual": 0.75}
    evaluated(cast, leading, {cast.dam: (0.0, 0.0, 0.0), cast.sire: (0.0, 0.0, 0.0)}, variances=nothing)
    pair = plan_of(cast.keeper, [cast.dam], [cast.sire]).pairs[0][0]
    assert pair.surface.mean == 5.0
    assert pair.surface.spread == pytest.approx(0.15**0.5)
    assert 0 <= pair.chance < 0.05


def test_what_lasts_in_a_coat_goes_together_as_the_run_found(cast, leading):
    run = evaluated(cast, leading, {cast.dam: (0.0, 0.0, 0.5), cast.sire: (0.0, 0.0, 0.5)}, genetic=0.3)
    run.together |= {"covariances": {"permanent": [[0.2, -0.1], [-0.1, 0.2]], "litter": [[0.0, 0.0], [0.0, 0.0]]}}
    run.save()
    standing = merits.current(cast.sire.breed_id)
    assert kits_by_merit.lasting_between(standing) == pytest.approx(-0.5 * 0.15)


def test_the_planners_queries_do_not_grow_with_merits(cast, leading):
    client, counts = cast.client_of("keeper"), []
    for size in (2, 6):
        does = [
            make_animal(cast.herd, f"D{size}{i}", sex="doe", sire=cast.sire, dam=cast.dam, born_on=born(300))
            for i in range(size)
        ]
        bucks = [make_animal(cast.herd, f"B{size}{i}", sex="buck") for i in range(size)]
        evaluated(cast, leading, dict.fromkeys((*does, *bucks), (1.0, 1.0, 0.5)))
        address = reverse("planner", args=[cast.herd.slug])
        query = "&".join([*[f"doe={a.pk}" for a in does], *[f"buck={a.pk}" for a in bucks]])
        counts.append(queries_of(client, f"{address}?{query}"))
        page = client.get(f"{address}?{query}").content.decode()
        assert "From the parents&#x27; merits in the evaluation of" in page
    assert counts == [counts[0]] * 2
    assert counts[0] <= 40
