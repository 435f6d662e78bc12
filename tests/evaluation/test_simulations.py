"""Clubs made up with known truth: what the model says must be true as often as it says."""

import numpy as np
import pytest

from grading.evaluation import (
    Covariances,
    Pedigree,
    Records,
    Variances,
    errors_of_means,
    estimate_covariances,
    estimate_variances,
    reliability,
    solve,
    solve_pair,
    trend,
)

from .made import breed, looked_at, merits

TRUE = Variances(0.5, 0.2, 0.8)


@pytest.mark.slow
def test_merits_are_unbiased_and_as_well_known_as_said():
    regressions, correlations, said, inside = [], [], [], []
    for seed in range(8):
        rng = np.random.default_rng([11, seed])
        club = breed(rng)
        true = merits(rng, club.pedigree, TRUE.animal)
        records = looked_at(rng, club, true)
        found = solve(records, club.pedigree, TRUE).merit
        known = reliability(records, club.pedigree, TRUE)
        error = np.sqrt((1 - known) * (1 + club.pedigree.inbreeding) * TRUE.animal)
        regressions.append(np.polyfit(found, true, 1)[0])
        correlations.append(np.corrcoef(found, true)[0, 1] ** 2)
        said.append(known.mean())
        inside.append(np.mean(np.abs(true - found) < 1.959964 * error))
    assert np.mean(regressions) == pytest.approx(1.0, abs=0.06)
    assert np.mean(correlations) == pytest.approx(np.mean(said), abs=0.06)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.025)


@pytest.mark.slow
def test_intervals_of_heritability_and_repeatability_hold_the_truth_as_often_as_they_say():
    within, estimates = [], []
    for seed in range(30):
        rng = np.random.default_rng([12, seed])
        club = breed(rng, years=4, herds=2)
        records = looked_at(rng, club, merits(rng, club.pedigree, TRUE.animal))
        found = estimate_variances(records, club.pedigree)
        for share, true in ((found.heritability, TRUE.heritability), (found.repeatability, TRUE.repeatability)):
            within.append(share.low <= true <= share.high)
        estimates.append([found.variances.animal, found.variances.permanent, found.variances.residual])
        assert found.converged
    # 60 intervals of 95 % from 30 clubs: below 25 clubs in 30 by chance alone once in 200 times
    assert np.mean(within) >= 25 / 30
    error = np.std(estimates, axis=0) / np.sqrt(len(estimates))
    away = np.abs(np.mean(estimates, axis=0) - [TRUE.animal, TRUE.permanent, TRUE.residual])
    assert (away < 3 * error + 0.03).all()  # zero is a wall, so a little bias is to be expected


def drifting_club(seed, choose):
    """Graders who all grow more lenient; the parents of each year are the palest by their first look, or any."""
    rng = np.random.default_rng([13, seed])
    sire, dam, born, true = [-1] * 32, [-1] * 32, [1] * 32, list(np.sqrt(TRUE.animal) * rng.standard_normal(32))
    drift = np.cumsum(0.3 + 0.4 * rng.standard_normal((4, 10)), axis=1)
    permanent = np.sqrt(TRUE.permanent) * rng.standard_normal(600)
    looks = []

    def look(animal, year):
        grader = rng.integers(0, 4)
        step = 4 + true[animal] + permanent[animal] + drift[grader, year] + np.sqrt(0.8) * rng.standard_normal()
        looks.append((animal, grader * 10 + year, step))
        return step

    for year in range(1, 8):
        young = [animal for animal, when in enumerate(born) if when == year]
        first = np.array([look(animal, year) for animal in young])
        for animal in young:  # and again when they are older
            look(animal, year + 1)
            look(animal, year + 2)
        order = np.argsort(first) if choose else rng.permutation(len(young))
        half = np.arange(len(young)) % 2
        bucks, does = (np.array(young)[[k for k in order if half[k] == sex]] for sex in (0, 1))
        if year == 7:
            break
        for doe in does[:12]:
            buck = rng.choice(bucks[:6])
            for _ in range(4):
                sire.append(int(buck))
                dam.append(int(doe))
                born.append(year + 1)
        pedigree = Pedigree(np.array(sire), np.array(dam))
        for kit in range(len(true), len(sire)):
            new = np.sqrt(TRUE.animal * pedigree.mendelian[kit]) * rng.standard_normal()
            true.append((true[sire[kit]] + true[dam[kit]]) / 2 + new)
    animal, grader, value = (np.array(column) for column in zip(*looks, strict=True))
    return pedigree, np.array(born), np.array(true), Records(animal, value, {"grader and year": grader})


@pytest.mark.slow
@pytest.mark.parametrize("choose", [False, True])
def test_the_genetic_trend_is_found_under_drifting_graders(choose):
    inside, misled, away, real = [], [], [], []
    for seed in range(16):
        pedigree, born, true, records = drifting_club(seed, choose)
        found = solve(records, pedigree, TRUE)
        _, error, _ = errors_of_means(records, pedigree, TRUE, born)
        moved = trend(found.merit, born, error)
        real.append(trend(true, born).slope)
        inside.append(moved.interval[0] <= real[-1] <= moved.interval[1])
        raw = np.polyfit(born[records.animal], records.value, 1)[0]
        misled.append(abs(raw - real[-1]) > abs(moved.slope - real[-1]))
        away.append(moved.slope - real[-1])
    assert sum(inside) >= 13  # 16 intervals of 95 %
    assert abs(np.mean(away)) < 3 * np.std(away) / 4  # no lean to one side
    assert sum(misled) >= 14  # the raw means follow the graders
    if choose:
        assert np.mean(real) < -0.2  # the breed did move


@pytest.mark.slow
def test_two_traits_together_find_their_correlation_and_know_more():
    animal = np.array([[0.5, -0.35], [-0.35, 0.5]])
    residual = np.array([[0.8, 0.2], [0.2, 0.8]])
    permanent = np.array([[0.2, 0.05], [0.05, 0.2]])
    inside, alone, together = [], [], []
    for seed in range(5):
        rng = np.random.default_rng([14, seed])
        club = breed(rng, years=3, kits=3)
        true = merits(rng, club.pedigree, animal)
        of = np.repeat(np.arange(len(true)), 2)
        value = 5 + true[of] + (rng.standard_normal((len(true), 2)) @ np.linalg.cholesky(permanent).T)[of]
        value += rng.standard_normal((len(of), 2)) @ np.linalg.cholesky(residual).T
        value[rng.random(len(of)) < 0.4, 1] = np.nan  # undercolor was often not looked at
        first, second = (Records(of, value[:, trait], {"mean": 0 * of}) for trait in range(2))
        found = estimate_covariances(first, second, club.pedigree)
        assert found.converged
        inside.append(found.animal_correlation.low <= -0.7 <= found.animal_correlation.high)
        both = solve_pair(first, second, club.pedigree, Covariances(animal, permanent, residual))
        one = solve(second, club.pedigree, TRUE)
        together.append(np.corrcoef(both.merit[:, 1], true[:, 1])[0, 1])
        alone.append(np.corrcoef(one.merit, true[:, 1])[0, 1])
    assert sum(inside) >= 4
    assert np.mean(together) > np.mean(alone)
