"""Agreement against libraries that others keep: scikit-learn, statsmodels, krippendorff and pingouin."""

import warnings

import krippendorff
import numpy as np
import pytest
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats.inter_rater import cohens_kappa

from grading.agreement import intraclass_correlation, krippendorff_alpha, weighted_kappa
from grading.agreement.alpha import LEVELS, _alphas
from grading.agreement.estimates import Z
from grading.agreement.intraclass import FORMS

SEEDS = [1, 2, 3, 4]
WEIGHTS = {"none": None, "linear": "linear", "quadratic": "quadratic"}


def answers(seed, photos=60, graders=2, missing=0.0):
    """Steps 1 to 9 of graders with leans and scatter of their own, NaN where they could not tell."""
    rng = np.random.default_rng(seed)
    truth = rng.normal(5, 1.6, photos)
    lean, scatter = rng.normal(0, 0.6, graders), rng.uniform(0.5, 1.5, graders)
    steps = truth[:, None] + lean + scatter * rng.standard_normal((photos, graders))
    steps = np.clip(np.round(steps), 1, 9)
    steps[rng.random(steps.shape) < missing] = np.nan
    return steps


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("weights", WEIGHTS)
def test_kappa_is_that_of_scikit_learn(seed, weights):
    one, other = answers(seed).T
    found = weighted_kappa(one, other, range(1, 10), weights)
    theirs = cohen_kappa_score(one.astype(int), other.astype(int), labels=range(1, 10), weights=WEIGHTS[weights])
    assert found.value == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("weights", WEIGHTS)
def test_the_large_sample_interval_is_that_of_statsmodels(seed, weights):
    one, other = answers(seed).T
    cells = np.zeros((9, 9))
    np.add.at(cells, (one.astype(int) - 1, other.astype(int) - 1), 1)
    theirs = cohens_kappa(cells, wt=WEIGHTS[weights])
    found = weighted_kappa(one, other, 9, weights)
    assert found.value == pytest.approx(theirs.kappa, abs=1e-12)
    assert (found.high - found.low) / (2 * Z) == pytest.approx(theirs.std_kappa, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("level", LEVELS)
def test_alpha_with_missing_answers_is_that_of_the_krippendorff_library(seed, level):
    scores = answers(seed, graders=4, missing=0.4)
    theirs = krippendorff.alpha(reliability_data=scores.T, level_of_measurement=level)
    assert krippendorff_alpha(scores, level).value == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize("level", LEVELS)
def test_alpha_of_each_bootstrap_sample_is_that_of_the_repeated_photos(level):
    scores = answers(5, photos=12, graders=3)
    times = np.random.default_rng(5).multinomial(12, np.full(12, 1 / 12), size=20)
    kinds = np.unique(scores)
    counts = (scores[:, :, None] == kinds).sum(axis=1).astype(float)
    theirs = [krippendorff.alpha(np.repeat(scores, row, axis=0).T, level_of_measurement=level) for row in times]
    np.testing.assert_allclose(_alphas(counts, kinds, level, times.astype(float)), theirs, atol=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_intraclass_correlations_and_their_intervals_are_those_of_pingouin(seed):
    scores = answers(seed, photos=15, graders=4)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of its own libraries
        import pandas
        import pingouin

        photo, grader = np.indices(scores.shape)
        rows = pandas.DataFrame({"photo": photo.ravel(), "grader": grader.ravel(), "step": scores.ravel()})
        theirs = pingouin.intraclass_corr(rows, "photo", "grader", "step")
    for form, value, ends in zip(FORMS, theirs["ICC"], theirs["CI95"], strict=True):
        found = intraclass_correlation(scores, form)
        assert found.value == pytest.approx(value, abs=1e-9)
        assert [found.low, found.high] == pytest.approx(list(ends), abs=0.0051)  # theirs are rounded to two decimals
