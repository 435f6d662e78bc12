"""Every published worked example of prediction and variances; the source stands in the fixture and beside each test."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from grading.evaluation import Pedigree, Records, Variances, equations, solve

from .published import animal_model, case, coded, repeated_records, small_club


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
