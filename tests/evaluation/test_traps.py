"""Traps that were met in a trial, each met again: what misleads, what is done about it, and what is said."""

import numpy as np
import pytest

from grading.evaluation import (
    Pedigree,
    Records,
    Variances,
    connectedness,
    estimate_variances,
    reliability,
    reliability_error,
    solve,
    trend,
)

from .made import breed, looked_at, merits
from .published import small_club

TRUE = Variances(0.5, 0.2, 0.8)


@pytest.mark.slow
def test_seniors_in_one_age_class_turn_fading_undercolor_into_a_false_trend():
    slopes = {"class": [], "quarter": []}
    for seed in range(6):
        rng = np.random.default_rng([21, seed])
        club = breed(rng, years=6, herds=3, kits=3)
        true = merits(rng, club.pedigree, TRUE.animal)
        animal = np.repeat(np.arange(len(true)), 3)
        year = rng.integers(6, 9, len(animal))  # all are looked at in the same few years, the old ones as seniors
        months = (year - club.born[animal]) * 12 + rng.integers(0, 12, len(animal))
        value = 6 + true[animal] - 0.2 * months / 12 + rng.standard_normal(len(animal))
        effects = {"year": year}
        for name, age in (("class", np.minimum(months // 6, 2)), ("quarter", months // 3)):
            records = Records(animal, value, effects | {"age": age})
            found = solve(records, club.pedigree, TRUE)
            slopes[name].append(trend(found.merit, club.born).slope - trend(true, club.born).slope)
    assert np.mean(slopes["class"]) > 0.08
    assert abs(np.mean(slopes["quarter"])) < 0.06
    assert abs(np.mean(slopes["quarter"])) < 0.5 * np.mean(slopes["class"])


def own_herds_only(seed=22):
    """Two herds without a buck in common, each seen by its own grader only."""
    rng = np.random.default_rng(seed)
    club = breed(rng, years=4, herds=2, lend=False)
    true = merits(rng, club.pedigree, TRUE.animal)
    animal = np.repeat(np.arange(len(true)), 4)
    value = 5 + true[animal] + np.sqrt(0.8) * rng.standard_normal(len(animal))
    return club, animal, value


def test_a_grader_who_sees_only_his_own_herd_does_not_look_reliable():
    club, animal, value = own_herds_only()
    grader = club.herd[animal]
    apart = Records(animal, value, {"grader": grader})
    across = Records(animal, value, {"grader": np.random.default_rng(1).integers(0, 2, len(animal))})
    plain = Records(animal, value)
    known = {}
    for exact in (True, False):
        known[exact] = [reliability(records, club.pedigree, TRUE, exact=exact) for records in (plain, across, apart)]
        by_plain, by_across, by_apart = (each.mean() for each in known[exact])
        assert by_apart < by_across - 0.02  # fixed effects count
        assert by_across < by_plain
    # the loss is met by the approximation too
    lost, approximate = (known[exact][0] - known[exact][2] for exact in (True, False))
    assert approximate.mean() == pytest.approx(lost.mean(), abs=0.05)
    seen = connectedness(apart, club.pedigree, "grader", TRUE)
    assert seen.part.tolist() == [0, 1]
    assert seen.known[0, 1] < 0.4  # only how far each herd moved from its own founders is known
    assert "cannot be laid to the animals or to the graders" in seen.warnings[0]
    joined = connectedness(across, club.pedigree, "grader", TRUE)
    assert joined.part.tolist() == [0, 0]
    herds = connectedness(across, club.pedigree, club.herd[animal], TRUE)
    assert herds.known[0, 1] > 0.8


def test_graders_of_unrelated_herds_do_not_meet_through_an_age_or_a_mean():
    club, animal, value = own_herds_only()
    rng, herd = np.random.default_rng(2), club.herd[animal]
    others = {"mean": np.zeros(len(animal), int), "age": rng.integers(0, 4, len(animal))}
    apart = Records(animal, value, {"grader": herd} | others)
    for group in ("grader", herd, herd + 7):
        seen = connectedness(apart, club.pedigree, group, TRUE)
        assert seen.part.tolist() == [0, 1]
        assert "cannot be compared with group" in seen.warnings[0]
    years = Records(animal, value, {"grader and year": herd * 2 + rng.integers(0, 2, len(animal))} | others)
    assert connectedness(years, club.pedigree, herd).part.tolist() == [0, 1]
    # one grader for both herds joins them, though no animal and no relative does
    grader = np.where(rng.random(len(animal)) < 0.5, herd, 0)
    joined = connectedness(Records(animal, value, {"grader": grader} | others), club.pedigree, herd, TRUE)
    assert joined.part.tolist() == [0, 0]
    assert "compared through relatives and through other effects" in joined.warnings[0]


@pytest.mark.slow
def test_the_approximation_of_reliability_errs_little_and_its_error_is_measured():
    rng = np.random.default_rng(23)
    club = breed(rng, years=6, herds=6)
    records = looked_at(rng, club, merits(rng, club.pedigree, TRUE.animal), looks=1)
    approximate = reliability(records, club.pedigree, TRUE, exact=False)
    error = reliability_error(records, club.pedigree, TRUE, approximate, 40)
    exact = reliability(records, club.pedigree, TRUE)
    assert error.exact == pytest.approx(exact[error.rows], abs=1e-8)
    assert error.root_mean_square < 0.04
    assert error.largest < 0.1
    assert np.corrcoef(error.exact, error.approximate)[0, 1] > 0.98


def test_one_look_an_animal_leaves_permanent_and_residual_as_one_and_says_so():
    rng = np.random.default_rng(24)
    club = breed(rng)
    records = looked_at(rng, club, merits(rng, club.pedigree, TRUE.animal), looks=1)
    found = estimate_variances(records, club.pedigree)
    assert found.variances.permanent == 0
    assert "permanent variance cannot be told apart from the residual" in " ".join(found.warnings)
    assert found.variances.residual == pytest.approx(1.0, abs=0.25)  # holds both
    without = estimate_variances(records, club.pedigree, permanent=False)
    assert without.variances == found.variances
    assert not any("permanent" in said for said in without.warnings)


@pytest.mark.parametrize("exact", [True, False])
def test_a_variance_at_zero_is_said_and_has_an_interval_from_zero(exact):
    rng = np.random.default_rng(25)
    club = breed(rng, years=4)
    records = looked_at(rng, club, np.zeros(len(club.pedigree)), permanent=0.4)
    found = estimate_variances(records, club.pedigree, exact=exact)
    assert found.at_zero == ("animal",)
    assert found.converged
    assert found.variances.animal == 0
    assert "The animal variance ran to zero" in " ".join(found.warnings)
    assert (found.heritability.value, found.heritability.low) == (0, 0)
    assert 0 < found.heritability.high < 0.3
    merit = solve(records, club.pedigree, found.variances)
    assert not merit.merit.any()
    assert "every merit is zero" in merit.warnings[-1]


@pytest.mark.parametrize("seed", range(5))
def test_sampled_expectations_do_not_run_away_on_small_data(seed):
    rng = np.random.default_rng([26, seed])
    club = breed(rng, years=2, herds=1, does=3, bucks=1, kits=3)
    records = looked_at(rng, club, merits(rng, club.pedigree, TRUE.animal), graders=2)
    found = estimate_variances(records, club.pedigree, exact=False, start=Variances(5, 5, 0.01))
    exact = estimate_variances(records, club.pedigree)
    assert exact.exact
    assert not found.exact
    spread = np.var(records.value)
    assert all(0 <= size < 5 * spread for size in vars(found.variances).values())
    assert all(np.isfinite(size) for size in vars(found.standard_errors).values())


@pytest.mark.slow
def test_a_poor_start_ends_where_a_good_one_does():
    records, pedigree, variances, _ = small_club()
    good = estimate_variances(records, pedigree, start=variances, litter=True)
    for start in (Variances(50, 0.001, 0.01, 9), Variances(0.001, 0.001, 100, 0.001)):
        poor = estimate_variances(records, pedigree, start=start, litter=True)
        assert poor.log_likelihood == pytest.approx(good.log_likelihood, abs=1e-5)


@pytest.mark.slow
def test_whole_steps_and_odd_steps_only_add_to_the_residual():
    sizes = {"as it is": [], "whole": [], "odd": []}
    for seed in range(2):
        rng = np.random.default_rng([27, seed])
        club = breed(rng, years=4)
        true = 1.5 * merits(rng, club.pedigree, TRUE.animal)
        plain = looked_at(rng, club, true, residual=1.5, looks=3)
        for name, value in (
            ("as it is", plain.value),
            ("whole", np.round(plain.value)),
            ("odd", 2 * np.round((plain.value - 1) / 2) + 1),
        ):
            found = estimate_variances(Records(plain.animal, value, plain.fixed), club.pedigree).variances
            sizes[name].append([found.animal + found.permanent, found.residual])
    as_it_is, whole, odd = (np.mean(sizes[name], axis=0) for name in ("as it is", "whole", "odd"))
    assert whole[0] == pytest.approx(as_it_is[0], rel=0.08)
    assert odd[0] == pytest.approx(as_it_is[0], rel=0.15)
    # a step of width w adds w^2 / 12: Sheppard's correction
    assert whole[1] - as_it_is[1] == pytest.approx(1 / 12, abs=0.05)
    assert odd[1] - as_it_is[1] == pytest.approx(4 / 12, abs=0.12)


@pytest.mark.slow
def test_ten_wrong_sires_in_a_hundred_cost_little_and_a_wrong_grader_link_much():
    right, wrong_sires, wrong_link = [], [], []
    for seed in range(5):
        rng = np.random.default_rng([28, seed])
        club = breed(rng)
        true = merits(rng, club.pedigree, TRUE.animal)
        records = looked_at(rng, club, true, graders=4, lean=1.5)
        right.append(np.corrcoef(solve(records, club.pedigree, TRUE).merit, true)[0, 1])
        sire = club.pedigree.sire.copy()
        kits = rng.permutation(np.flatnonzero(sire >= 0))
        for kit in kits[: len(kits) // 10]:  # another buck of the same year
            bucks = np.unique(sire[(club.born == club.born[kit]) & (sire >= 0)])
            sire[kit] = rng.choice(bucks)
        muddled = Pedigree(sire, club.pedigree.dam)
        wrong_sires.append(np.corrcoef(solve(records, muddled, TRUE).merit, true)[0, 1])
        one_name = {"grader": records.fixed["grader"] // 2, "coat stage": records.fixed["coat stage"]}
        linked = Records(records.animal, records.value, one_name)  # two people under one name
        wrong_link.append(np.corrcoef(solve(linked, club.pedigree, TRUE).merit, true)[0, 1])
    assert np.mean(right) - np.mean(wrong_sires) < 0.03
    assert np.mean(right) - np.mean(wrong_link) > 0.05
