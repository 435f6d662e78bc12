"""Agreement against published worked examples; the source of each stands in fixtures/published/agreement.json."""

import json
from pathlib import Path

import numpy as np
import pytest

from grading.agreement import intraclass_correlation, krippendorff_alpha, weighted_kappa
from grading.agreement.estimates import Z
from grading.agreement.intraclass import FORMS, mean_squares
from grading.agreement.kappa import kappa_of_table

PUBLISHED = json.loads((Path(__file__).parents[2] / "fixtures" / "published" / "agreement.json").read_text())
CHECKS = {check["id"]: check for check in PUBLISHED["checks"]}
SIX_TARGETS = CHECKS["six-targets-four-judges"]["given"]["scores"]


def case(name):
    """What is given, what must come out, and how closely."""
    check = CHECKS[name]
    return check["given"], check["expect"], check["tolerance"]


def units(given):
    """Scores (targets, raters) of an example printed rater by rater, with None for a missing value."""
    return np.array(given["raters"], dtype=float).T


@pytest.mark.parametrize("form", FORMS)
def test_shrout_and_fleiss_six_targets_give_their_six_correlations(form):
    _, expect, tolerance = case("six-targets-four-judges")
    found = intraclass_correlation(SIX_TARGETS, form)
    assert found.value == pytest.approx(expect["value"][form], abs=tolerance)
    assert found.n == 6


def test_shrout_and_fleiss_six_targets_give_their_mean_squares():
    _, expect, tolerance = case("six-targets-four-judges")
    squares = mean_squares(np.array(SIX_TARGETS, dtype=float))
    found = {name: getattr(squares, name) for name in expect["mean_squares"]}
    assert found == pytest.approx(expect["mean_squares"], abs=tolerance)


@pytest.mark.parametrize("form", FORMS)
def test_shrout_and_fleiss_six_targets_give_the_usual_intervals(form):
    _, expect, tolerance = case("six-targets-intervals")
    found = intraclass_correlation(SIX_TARGETS, form)
    assert [found.low, found.high] == pytest.approx(expect["interval"][form], abs=tolerance)


@pytest.mark.parametrize("name", ["four-observers-missing", "two-observers-binary", "two-observers-nominal"])
def test_krippendorffs_examples_give_his_alphas(name):
    given, expect, tolerance = case(name)
    for level, value in expect["value"].items():
        found = krippendorff_alpha(units(given), level)
        assert found.value == pytest.approx(value, abs=tolerance)
        assert found.n == expect["n"]
        assert found.low < found.value < found.high


def test_cohens_diagnosticians_give_his_weighted_kappa():
    given, expect, tolerance = case("two-diagnosticians")
    cells = given["n"] * np.array(given["shares"])
    weighted = kappa_of_table(cells, np.array(given["disagreement"], dtype=float))
    assert weighted.value == pytest.approx(expect["weighted"], abs=tolerance)
    assert kappa_of_table(cells, 1 - np.eye(3)).value == pytest.approx(expect["unweighted"], abs=tolerance)


def test_two_clinicians_give_the_printed_kappa_from_their_answers_one_by_one():
    given, expect, tolerance = case("two-clinicians")
    counts = np.rint(given["n"] * np.array(given["shares"])).astype(int)
    first, second = (np.repeat(index.ravel() + 1, counts.ravel()) for index in np.indices(counts.shape))
    found = weighted_kappa(first, second, 3, weights="none")
    assert found.value == pytest.approx(expect["unweighted"], abs=tolerance)
    assert found.n == given["n"]


def test_two_raters_give_the_printed_standard_error():
    given, expect, tolerance = case("two-raters-psychosis")
    found = kappa_of_table(np.array(given["counts"], dtype=float), 1 - np.eye(3))
    assert found.value == pytest.approx(expect["unweighted"], abs=tolerance)
    assert (found.high - found.low) / (2 * Z) == pytest.approx(expect["standard_error"], abs=0.001)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_quadratic_kappa_is_an_intraclass_correlation_as_fleiss_and_cohen_showed(seed):
    """Fleiss and Cohen (1973), Educational and Psychological Measurement 33:613-619: in sums of squares.

    kappa = (SSB - SSE) / (SSB + SSE + 2 SSJ); ICC(2,1) differs from it by parts that vanish as photos grow many.
    """
    rng = np.random.default_rng(seed)
    truth = rng.integers(2, 8, 400)
    scores = np.clip(truth[:, None] + rng.integers(-1, 2, (400, 2)) + [0, 1], 1, 9)
    squares = mean_squares(scores.astype(float))
    between, rest, graders = squares.photos * 399, squares.rest * 399, squares.graders
    kappa = weighted_kappa(scores[:, 0], scores[:, 1], 9).value
    assert kappa == pytest.approx((between - rest) / (between + rest + 2 * graders), abs=1e-12)
    assert kappa == pytest.approx(intraclass_correlation(scores, "2,1").value, abs=0.005)
