"""Records that say little or nothing: a sensible answer that is stated, or a refusal in a sentence; never a NaN."""

import dataclasses

import numpy as np
import pytest

from grading.evaluation import (
    Covariances,
    EvaluationError,
    NothingToEstimate,
    Pedigree,
    Records,
    Variances,
    WrongInput,
    connectedness,
    errors_of_means,
    estimate_covariances,
    estimate_variances,
    even_spread,
    prediction_errors,
    reliability,
    solve,
    solve_pair,
    trend,
)
from pedigrees.kinship import PedigreeError

from .made import breed, looked_at, merits, tiny
from .published import small_club

TRUE = Variances(0.5, 0.2, 0.8)


def club_and_looks(seed=31, **how):
    rng = np.random.default_rng(seed)
    club = breed(rng, years=3)
    return club, looked_at(rng, club, merits(rng, club.pedigree, TRUE.animal), **how)


def all_numbers(answer):
    """Every number in a result, however deep."""
    if isinstance(answer, dict):
        answer = list(answer.values())
    if dataclasses.is_dataclass(answer):
        answer = [getattr(answer, field.name) for field in dataclasses.fields(answer)]
    if isinstance(answer, list | tuple):
        return np.concatenate([all_numbers(part) for part in answer] or [np.zeros(0)])
    if isinstance(answer, str) or answer is None:
        return np.zeros(0)
    return np.ravel(np.asarray(answer, dtype=float))


def everything(records, pedigree):
    """All figures of a run, as a run would ask for them."""
    found = estimate_variances(records, pedigree, litter=records.litter is not None)
    solution = solve(records, pedigree, found.variances)
    known = reliability(records, pedigree, found.variances)
    approximate = reliability(records, pedigree, found.variances, exact=False)
    return found, solution, [found, solution, known, approximate]


def test_one_grader_and_one_herd_give_an_answer():
    club, records = club_and_looks(graders=1)
    found, _, answers = everything(records, club.pedigree)
    assert found.converged
    assert np.isfinite(all_numbers(answers)).all()
    seen = connectedness(records, club.pedigree, "grader", TRUE)
    assert seen.part.tolist() == [0]
    assert seen.warnings == ()


def test_no_repeated_looks_give_an_answer_without_a_permanent_part():
    club, records = club_and_looks(looks=1)
    found, solution, answers = everything(records, club.pedigree)
    assert np.isfinite(all_numbers(answers)).all()
    assert not solution.permanent.any()
    assert "No animal was seen twice" in " ".join(found.warnings)


def test_all_the_same_step_is_refused_but_merits_are_zero():
    club, records = club_and_looks()
    same = Records(records.animal, np.full(len(records), 5.0), records.fixed)
    with pytest.raises(NothingToEstimate, match="All looks show the same step"):
        estimate_variances(same, club.pedigree)
    solution = solve(same, club.pedigree, TRUE)
    assert np.abs(solution.merit).max() < 1e-9
    by_grader = Records(records.animal, records.fixed["grader"] + 1.0, {"grader": records.fixed["grader"]})
    with pytest.raises(NothingToEstimate, match="All looks show the same step once"):
        estimate_variances(by_grader, club.pedigree)


def test_a_pedigree_without_links_says_that_heritability_is_repeatability():
    club, records = club_and_looks()
    founders = np.full(len(club.pedigree), -1)
    found, _, answers = everything(Records(records.animal, records.value, records.fixed), Pedigree(founders, founders))
    assert np.isfinite(all_numbers(answers)).all()
    assert "No two animals seen are related" in " ".join(found.warnings)
    assert found.heritability == found.repeatability


def test_nothing_repeated_and_nobody_related_is_refused():
    founders = np.full(30, -1)
    records = Records(np.arange(30), np.random.default_rng(1).integers(1, 10, 30), {"mean": np.zeros(30, int)})
    with pytest.raises(NothingToEstimate, match="No animal was seen twice and no two animals seen are related"):
        estimate_variances(records, Pedigree(founders, founders))


@pytest.mark.parametrize("looks", [1, 2, 3, 5])
def test_fewer_looks_than_effects_are_refused_for_variances_and_answered_for_merits(looks):
    club, records = club_and_looks()
    few = Records(records.animal[:looks], records.value[:looks], {"day": np.arange(looks)})
    with pytest.raises(
        NothingToEstimate, match=f"There (is|are) {looks} looks?, and the fixed effects take up {looks}"
    ):
        estimate_variances(few, club.pedigree)
    solution = solve(few, club.pedigree, TRUE)
    assert np.abs(solution.merit).max() < 1e-9
    assert np.isfinite(all_numbers(solution)).all()
    assert reliability(few, club.pedigree, TRUE) == pytest.approx(0, abs=1e-9)


def test_looks_without_a_step_are_left_out_and_said():
    club, records = club_and_looks()
    holes = records.value.copy()
    holes[::3] = np.nan
    found = solve(Records(records.animal, holes, records.fixed), club.pedigree, TRUE)
    kept = ~np.isnan(holes)
    fixed = {name: codes[kept] for name, codes in records.fixed.items()}
    other = solve(Records(records.animal[kept], holes[kept], fixed), club.pedigree, TRUE)
    assert found.merit == pytest.approx(other.merit, abs=1e-12)
    assert f"{(~kept).sum()} of {len(holes)} looks have no step" in found.warnings[0]
    with pytest.raises(EvaluationError, match="No look has a step"):
        solve(Records(records.animal, np.full(len(holes), np.nan), records.fixed), club.pedigree, TRUE)
    with pytest.raises(EvaluationError, match="No look has a step"):
        estimate_variances(Records(np.zeros(0, int), np.zeros(0)), club.pedigree)


def test_an_unknown_level_is_a_level_of_its_own_found_at_minus_one():
    club, records = club_and_looks()
    grader = np.where(np.arange(len(records)) % 5 == 0, -1, records.fixed["grader"])
    found = solve(Records(records.animal, records.value, {"grader": grader}), club.pedigree, TRUE)
    renamed = Records(records.animal, records.value, {"grader": np.where(grader < 0, 4, grader)})
    other = solve(renamed, club.pedigree, TRUE)
    assert found.merit == pytest.approx(other.merit, abs=1e-9)
    assert found.fixed["grader"][-1] == pytest.approx(other.fixed["grader"][4], abs=1e-9)
    assert found.fixed["grader"][grader] == pytest.approx(other.fixed["grader"][renamed.fixed["grader"]], abs=1e-9)


def test_no_fixed_effect_counts_from_zero_and_says_so():
    club, records = club_and_looks()
    found = solve(Records(records.animal, records.value), club.pedigree, TRUE)
    assert "No fixed effect was given" in found.warnings[0]
    centred = solve(Records(records.animal, records.value - records.value.mean()), club.pedigree, TRUE)
    assert centred.warnings == ()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        (lambda: Records([0, 1], [1.0]), "There are 2 looks, but value has shape"),
        (lambda: Records([0, -1], [1.0, 2.0]), "animal of look 1 is -1; the lowest code is 0"),
        (lambda: Records([0.5, 1], [1.0, 2.0]), "animal holds numbers that are not whole"),
        (lambda: Records(["a", "b"], [1.0, 2.0]), "animal holds"),
        (lambda: Records([[0, 1]], [1.0]), "animal has 2 dimensions"),
        (lambda: Records([0], [np.inf]), "The value of look 0 is not a number of steps"),
        (lambda: Records([0], [1.0], {"grader": [-2]}), "grader of look 0 is -2"),
        (lambda: Records([0], [1.0], {"grader": [10**12]}), "number the levels from 0 on"),
        (lambda: Records([0], ["bright"]), "A value is not a number"),
        (lambda: Variances(-1, 0, 1), "The animal variance is -1.0"),
        (lambda: Variances(1, np.nan, 1), "The permanent variance is nan"),
        (lambda: Variances(1, 0, 0), "The residual variance is zero"),
        (lambda: Covariances([[1, 2], [2, 1]], 0, np.eye(2)), "a correlation beyond one"),
        (lambda: Covariances([[1, 2], [0, 1]], 0, np.eye(2)), "not a symmetric"),
        (lambda: Covariances(np.eye(2), 0, np.ones((2, 2))), "The residual covariance cannot be"),
    ],
)
def test_input_that_cannot_be_is_refused_in_a_sentence(wrong, sentence):
    with pytest.raises(WrongInput, match=sentence):
        wrong()


def test_animals_outside_the_pedigree_and_loops_are_refused():
    alone = Pedigree([-1], [-1])
    with pytest.raises(WrongInput, match="names animal 3, but the pedigree has 1 rows"):
        solve(Records([3], [5.0]), alone, TRUE)
    with pytest.raises(PedigreeError, match="own ancestor"):
        Pedigree([1, 0], [-1, -1])
    with pytest.raises(WrongInput, match="Rows go from 0 to 0"):
        prediction_errors(Records([0], [5.0]), alone, TRUE, [1])
    with pytest.raises(WrongInput, match="Give one group an animal"):
        errors_of_means(Records([0], [5.0]), alone, TRUE, [1, 2])
    with pytest.raises(WrongInput, match="no effect named herd"):
        connectedness(Records([0], [5.0], {"grader": [0]}), alone, "herd")


def test_connectedness_refuses_looks_at_animals_that_are_not_there():
    with pytest.raises(WrongInput, match="names animal 9, but the pedigree has 1 rows"):
        connectedness(Records([0, 9], [5.0, 6.0], {"grader": [0, 1]}), Pedigree([-1], [-1]), "grader")


def test_no_fixed_effects_may_be_none_and_words_are_refused_in_a_sentence():
    assert Records([0], [6.0], None).fixed == {}
    with pytest.raises(WrongInput, match="animal variance is a; a variance is a number"):
        Variances("a", 0, 1)
    with pytest.raises(WrongInput, match="permanent variance is None"):
        Variances(1, None, 1)
    with pytest.raises(WrongInput, match="animal covariance is not a symmetric"):
        Covariances("x", np.eye(2), np.eye(2))
    with pytest.raises(WrongInput, match="not numbers"):
        trend([1.0], ["x"])
    with pytest.raises(NothingToEstimate, match="There is 1 look, and the fixed effects take up 1 of it"):
        estimate_variances(Records([0], [5.0], {"mean": [0]}), Pedigree([-1], [-1]))


def test_one_animal_is_enough_for_a_merit():
    found = solve(Records([0], [6.0]), Pedigree([-1], [-1]), Variances(1, 0, 1))
    assert found.merit == pytest.approx([3.0])


def test_pairs_must_be_the_same_looks():
    club, records = club_and_looks()
    covariances = Covariances(np.eye(2), np.zeros((2, 2)), np.eye(2))
    other = Records(records.animal[::-1], records.value)
    with pytest.raises(WrongInput, match="do not name the same animals"):
        solve_pair(records, other, club.pedigree, covariances)
    never = Records(records.animal, np.full(len(records), np.nan), records.fixed)
    with pytest.raises(WrongInput, match="One of the two traits was not seen"):
        estimate_covariances(records, never, club.pedigree)
    odd = np.arange(len(records)) % 2 == 1
    one, two = (Records(records.animal, np.where(odd == k, records.value, np.nan), records.fixed) for k in (0, 1))
    with pytest.raises(WrongInput, match="No look has both traits"):
        estimate_covariances(one, two, club.pedigree)


@pytest.mark.slow
def test_two_traits_that_are_one_end_at_the_edge_and_say_so():
    rng = np.random.default_rng(32)
    club = breed(rng, years=3)
    true = merits(rng, club.pedigree, 0.6)
    of = np.repeat(np.arange(len(true)), 2)
    first, second = (Records(of, 5 + true[of] + 0.7 * rng.standard_normal(len(of)), {"mean": 0 * of}) for _ in range(2))
    found = estimate_covariances(first, second, club.pedigree)
    assert found.converged
    assert found.animal_correlation.value > 0.9
    numbers = all_numbers(found)
    assert np.isfinite(numbers).all()
    assert any("lie at the edge" in said for said in found.warnings)
    merit = solve_pair(first, second, club.pedigree, found.covariances)
    assert merit.converged
    assert np.isfinite(all_numbers(merit)).all()


def test_singular_covariances_are_solved():
    club, records = club_and_looks()
    one = np.array([[0.5, 0.5], [0.5, 0.5]])
    found = solve_pair(records, records, club.pedigree, Covariances(one, 0 * one, np.diag([0.8, 0.9])))
    assert found.merit[:, 0] == pytest.approx(found.merit[:, 1], abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("exact", [True, False])
def test_the_same_looks_twice_give_the_same_digits(exact):
    records, pedigree, _, _ = small_club()
    one, other = (estimate_variances(records, pedigree, litter=True, exact=exact) for _ in range(2))
    assert one == other or all_numbers(one).tolist() == all_numbers(other).tolist()
    merits_twice = [solve(records, pedigree, one.variances).merit.tolist() for _ in range(2)]
    assert merits_twice[0] == merits_twice[1]


@pytest.mark.slow
@pytest.mark.parametrize("seed", [*range(400, 412), 356])  # 356: a likelihood so flat that a step once ran away
def test_whatever_few_looks_come_the_answer_is_numbers_or_a_sentence(seed):
    pedigree, first, second = tiny(seed)
    litter, sentences = first.litter is not None, []
    for estimate in (
        lambda: estimate_variances(first, pedigree, litter=litter, exact=None if seed % 3 else False),
        lambda: estimate_covariances(first, second, pedigree, litter=litter, exact=None if seed % 3 else False),
    ):
        try:
            found = estimate()
        except EvaluationError as refused:
            sentences.append(str(refused))
            continue
        assert np.isfinite(all_numbers(found)).all()
        assert found.converged or any("had not settled" in said for said in found.warnings)
        if hasattr(found, "variances"):
            answers = [solve(first, pedigree, found.variances), reliability(first, pedigree, found.variances)]
        else:
            answers = [solve_pair(first, second, pedigree, found.covariances)]
        assert np.isfinite(all_numbers(answers)).all()
    assert all(sentence.endswith(".") for sentence in sentences)


def test_rounds_can_be_watched_and_stopped():
    records, pedigree, _, _ = small_club()
    seen = []
    estimate_variances(records, pedigree, progress=lambda number, sizes: seen.append(number))
    assert seen == list(range(1, len(seen) + 1))

    def stop(number, sizes):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        estimate_variances(records, pedigree, progress=stop)


def test_a_trend_needs_years_and_says_what_its_error_counts():
    found = trend([1.0, 2.0, 3.0, 9.0], [2001, 2002, 2003, -1])
    assert (found.slope, found.count.tolist()) == (pytest.approx(1.0), [1, 1, 1])
    assert "too narrow" in found.warnings[0]
    one = trend([1.0, 2.0], [2001, 2001])
    assert (one.slope, one.slope_error) == (0.0, float("inf"))
    assert "born in one year" in one.warnings[-1]
    assert trend([1.0, 2.0], [2001, np.nan]).count.tolist() == [1]
    with pytest.raises(EvaluationError, match="No animal has a known year"):
        trend([1.0], [-1])
    with pytest.raises(WrongInput, match="A merit is not a number"):
        trend([np.nan], [2001])
    with pytest.raises(WrongInput, match="Give the errors of all 2"):
        trend([1.0, 2.0], [2001, 2002], np.eye(3))


def test_a_grader_without_spread_is_left_as_he_is_and_said():
    rng = np.random.default_rng(33)
    grader = np.repeat([0, 1, 2, -1], 200)
    value = np.concatenate(
        [5 + rng.standard_normal(200), 6 + 3 * rng.standard_normal(200), np.full(200, 4.0), np.full(200, 7.0)]
    )
    value[0] = np.nan
    even, said = even_spread(value, grader)
    assert said == ("Grader 2 gave the same step in every look; his looks say nothing on differences.",)
    assert np.isnan(even[0])
    assert (even[400:] == value[400:]).all()
    assert np.nanstd(even[:200]) == pytest.approx(np.std(even[200:400]), rel=0.2)
    assert np.nanmean(even[:200]) == pytest.approx(np.nanmean(value[:200]))
    with pytest.raises(NothingToEstimate, match="No grader ever gave two different steps"):
        even_spread(np.full(4, 5.0), [0, 0, 1, 1])
