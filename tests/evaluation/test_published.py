"""Every published worked example of prediction and variances; the source stands in the fixture and beside each test."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from grading.evaluation import (
    Covariances,
    Pedigree,
    Records,
    Variances,
    components,
    connectedness,
    equations,
    estimate_variances,
    prediction_errors,
    prediction_errors_pair,
    reliability,
    solve,
    solve_pair,
    trend,
)
from grading.evaluation.design import Design
from grading.evaluation.reml import log_likelihood
from grading.evaluation.solving import covariances_of

from .published import animal_model, case, coded, pedigree_of, repeated_records, small_club


@pytest.fixture(params=["dense", "gradients"])
def either_way(request, monkeypatch):
    """Both ways to solve the equations must give the published numbers."""
    if request.param == "gradients":
        monkeypatch.setattr(equations, "MOST_DENSE", 0)


@pytest.mark.usefixtures("either_way")
def test_merits_of_the_animal_model_of_mrode_and_thompson():
    # Mrode and Thompson, Example 3.1 (from memory)
    records, pedigree, variances = animal_model()
    _, expect, tolerance = case("animal-model")
    found = solve(records, pedigree, variances)
    assert_allclose(found.merit, list(expect["merit"].values()), rtol=0, atol=tolerance)
    assert_allclose(found.fixed["sex"], [expect["sex"]["buck"], expect["sex"]["doe"]], rtol=0, atol=tolerance)
    assert found.converged
    assert found.warnings == ()


@pytest.mark.usefixtures("either_way")
def test_merits_and_permanent_effects_of_repeated_records_of_mrode_and_thompson():
    # Mrode and Thompson, Example 4.1, 3rd edition pages 63-64
    records, pedigree, variances = repeated_records()
    _, expect, tolerance = case("repeated-records")
    found = solve(records, pedigree, variances)
    assert_allclose(found.merit, list(expect["merit"].values()), rtol=0, atol=tolerance)
    assert_allclose(found.permanent[3:], list(expect["permanent"].values()), rtol=0, atol=tolerance)
    assert_allclose(found.permanent[:3], 0, atol=0)
    assert_allclose(found.fixed["time"][1:], list(expect["time"].values()), rtol=0, atol=tolerance)
    assert_allclose(found.fixed["group"][1:], list(expect["group"].values()), rtol=0, atol=tolerance)
    assert found.rank == 4
    assert "Levels 1, 3 of group" in found.warnings[0]


@pytest.mark.usefixtures("either_way")
def test_four_sires_in_three_herds_of_robinson():
    # G. K. Robinson 1991, Statistical Science 6 (from memory). A look at a kit of the sire is a look at the sire here.
    given, expect, tolerance = case("good-thing")
    herd, sire, value = zip(*given["records"], strict=True)
    animal, names = coded(sire)
    founders = np.full(len(names), -1)
    records = Records(animal, np.array(value), {"herd": np.array(herd)})
    found = solve(records, Pedigree(founders, founders), Variances(given["sire"], 0, given["residual"]))
    assert_allclose(found.merit, [expect["sire"][name] for name in names], rtol=0, atol=tolerance)
    assert_allclose(found.fixed["herd"][1:], list(expect["herd"].values()), rtol=0, atol=1e-6)  # seven digits given


@pytest.mark.usefixtures("either_way")
def test_merits_of_the_small_club_with_litters():
    # simulated with known truth; prediction by two other routes
    records, pedigree, variances, _ = small_club()
    _, expect, tolerance = case("small-club")
    found = solve(records, pedigree, variances)
    assert found.looks == expect["records"]
    assert found.rank == expect["rank_of_fixed"]
    assert "have no step" in found.warnings[0]
    assert_allclose(found.merit, list(expect["merit"].values()), rtol=0, atol=tolerance["merit"])


def test_reliabilities_and_errors_of_mrode_and_thompson():
    # Mrode and Thompson, Example 3.1 and 4.1 (from memory; the book's own rounding aside)
    for example, name in ((animal_model, "animal-model"), (repeated_records, "repeated-records")):
        records, pedigree, variances = example()
        _, expect, tolerance = case(name)
        found = reliability(records, pedigree, variances)
        assert_allclose(found, list(expect["reliability"].values()), rtol=0, atol=tolerance)
    assert pedigree.inbreeding[-1] == pytest.approx(expect["f8"])


def test_expected_progeny_of_three_matings():
    # computed from the animal model by definition: Mendelian variance, and the doubt about both parents and their sum
    _, expect, tolerance = case("progeny")
    records, pedigree, variances = animal_model()
    merit = solve(records, pedigree, variances).merit
    for line in expect["rows"]:
        mating = dict(zip(expect["columns"], line, strict=True))
        rows = [int(mating["one"]) - 1, int(mating["other"]) - 1]
        errors = prediction_errors(records, pedigree, variances, rows)
        assert merit[rows].mean() == pytest.approx(mating["mean"], abs=tolerance)
        assert mating["mendelian"] + errors.sum() / 4 == pytest.approx(mating["predictive"], abs=tolerance)


@pytest.mark.usefixtures("either_way")
def test_two_traits_of_mrode_and_thompson():
    # Mrode and Thompson, Example 5.1, 3rd edition pages 72-74
    given, expect, tolerance = case("two-traits")
    row, pedigree = pedigree_of(given["pedigree"])
    animal = np.array([row[name] for name in given["first"]])
    sex, order = coded(list(given["sex"].values()))
    first, second = (
        Records(animal, np.array(list(given[trait].values())), {"sex": sex}) for trait in ("first", "second")
    )
    covariances = Covariances(given["g"], np.zeros((2, 2)), given["r"])
    found = solve_pair(first, second, pedigree, covariances)
    for trait, name in enumerate(("first", "second")):
        assert_allclose(found.merit[:, trait], list(expect[f"merit_{name}"].values()), rtol=0, atol=tolerance)
        assert_allclose(found.fixed[trait]["sex"], [expect[name][which] for which in order], rtol=0, atol=tolerance)
    errors = prediction_errors_pair(first, second, pedigree, covariances, np.arange(8))
    for trait, name in enumerate(("first", "second")):
        found_errors = np.diag(errors[:, trait, :, trait])
        assert_allclose(found_errors, list(expect[f"pev_{name}"].values()), rtol=0, atol=1e-6)


def test_reliability_in_closed_form():
    # selection index theory: n h2 / (1 + (n - 1) r), and n / (n + (4 - h2) / h2) for half sibs
    given, expect, tolerance = case("reliability-formulas")
    h2, repeatability = given["h2"], given["repeatability"]
    alone = Pedigree(np.array([-1]), np.array([-1]))
    for looks, wanted in expect["own_records"]:
        variances = Variances(h2, repeatability - h2, 1 - repeatability)
        found = reliability(Records(np.zeros(looks, int), np.ones(looks)), alone, variances)
        assert found[0] == pytest.approx(wanted, abs=tolerance)
    for kits, wanted in expect["progeny"]:
        family = Pedigree(np.append(-1, np.zeros(kits, int)), np.full(kits + 1, -1))
        records = Records(np.arange(1, kits + 1), np.ones(kits))
        for exact in (True, False):  # half sibs by one sire are a tree, on which messages are exact
            found = reliability(records, family, Variances(h2, 0, 1 - h2), exact=exact)
            assert found[0] == pytest.approx(wanted, abs=tolerance)


def test_graders_and_herds_fall_into_parts():
    # rank of the design; graph components
    given, expect, _ = case("connected")
    (herd, herds), (grader, graders) = coded(given["herd"]), coded(given["grader"])
    found = components(herd, grader)
    assert (found.rank, found.levels, found.parts) == (expect["rank"], expect["levels"], len(expect["components"]))
    for number, names in enumerate(expect["components"]):
        inside = {herds[k] for k in np.flatnonzero(found.first_part == number)}
        assert inside | {graders[k] for k in np.flatnonzero(found.second_part == number)} == set(names)
    alone = Pedigree(np.full(8, -1), np.full(8, -1))
    records = Records(np.arange(8), np.arange(8.0), {"herd": herd, "grader": grader})
    solution = solve(records, alone, Variances(1, 0, 1))
    assert solution.rank == expect["rank"]
    assert any("grader cannot all be told apart" in said for said in solution.warnings)
    assert "cannot be laid" in connectedness(records, alone, "grader").warnings[0]


def test_batches_of_dyestuff():
    # Davies and Goldsmith 1972; Bates et al. 2015, Journal of Statistical Software 67
    given, expect, tolerance = case("dyestuff")
    batches = np.array(given["batches"])
    animal = np.repeat(np.arange(len(batches)), batches.shape[1])
    founders = Pedigree(np.full(len(batches), -1), np.full(len(batches), -1))
    records = Records(animal, batches.ravel(), {"mean": np.zeros(len(animal), int)})
    found = estimate_variances(records, founders)
    assert found.variances.animal == pytest.approx(expect["batch"], rel=tolerance)
    assert found.variances.residual == pytest.approx(expect["residual"], rel=tolerance)
    assert found.log_likelihood == pytest.approx(expect["loglik"], abs=tolerance)
    assert solve(records, founders, found.variances).fixed["mean"][0] == pytest.approx(expect["mean"])
    assert any("No two animals seen are related" in said for said in found.warnings)


def test_balanced_litters_in_closed_form():
    # balanced nested analysis of variance by hand
    given, expect, tolerance = case("balanced-litters")
    steps = np.array(given["steps"])
    bucks, does, kits = steps.shape
    parents = bucks + bucks * does
    kit = np.arange(steps.size)
    sire = np.append(np.full(parents, -1), kit // (does * kits))
    dam = np.append(np.full(parents, -1), bucks + kit // kits)
    records = Records(kit + parents, steps.ravel(), {"mean": 0 * kit}, kit // kits)
    found = estimate_variances(records, Pedigree(sire, dam), litter=True)
    assert found.variances.animal == pytest.approx(expect["additive"], abs=tolerance)
    assert found.variances.litter == pytest.approx(expect["litter"], abs=tolerance)
    assert found.variances.residual == pytest.approx(expect["residual"], abs=tolerance)
    assert found.log_likelihood == pytest.approx(expect["loglik"], abs=tolerance)
    assert any("No animal was seen twice" in said for said in found.warnings)


def test_the_small_club_from_end_to_end():
    # simulated with known truth, seed 22; REML by direct maximisation elsewhere
    records, pedigree, variances, born = small_club()
    _, expect, tolerance = case("small-club")
    found = estimate_variances(records, pedigree, litter=True)
    within = 0.01 * sum(variances.__dict__.values())  # 1 % of the total variance
    reml = expect["reml"]
    sizes = [found.variances.animal, found.variances.litter, found.variances.permanent, found.variances.residual]
    errors = found.standard_errors
    assert_allclose(sizes, [reml["additive"], reml["litter"], reml["permanent"], reml["residual"]], rtol=0, atol=within)
    assert found.log_likelihood == pytest.approx(reml["loglik"], abs=tolerance["loglik"])
    found_errors = [errors.animal, errors.litter, errors.permanent, errors.residual]
    assert_allclose(found_errors, reml["se"], rtol=0, atol=1e-4)
    known = reliability(records, pedigree, variances)
    assert_allclose(known, list(expect["reliability"].values()), rtol=0, atol=tolerance["merit"])
    moved = trend(solve(records, pedigree, variances).merit, born)
    assert dict(zip(moved.year.astype(str), moved.count, strict=True)) == {
        year: count for year, (count, _) in expect["merit_by_birth_year"].items()
    }
    means = [mean for _, mean in expect["merit_by_birth_year"].values()]
    assert_allclose(moved.mean, means, rtol=0, atol=tolerance["merit"])
    assert moved.slope == pytest.approx(expect["trend_per_year"], abs=tolerance["merit"])


def test_the_likelihood_at_given_variances_of_the_small_club():
    # the same looks; all constants included
    records, pedigree, variances, _ = small_club()
    _, expect, tolerance = case("small-club")
    equations_there = equations.Equations(Design([records], pedigree), covariances_of(variances))
    answer = equations_there.solve([equations_there.sums(equations_there.design.value)])
    found = log_likelihood(equations_there, answer)
    assert found == pytest.approx(expect["loglik_at_given_variances"], abs=tolerance["loglik"])
