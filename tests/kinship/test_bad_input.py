"""What is refused, with a sentence that names the rows; and what is taken although it looks odd."""

import numpy as np
import pytest

from pedigrees import kinship

FIGURES = {
    "order": kinship.ancestry_order,
    "inbreeding": kinship.inbreeding,
    "coancestry": lambda sire, dam: kinship.coancestry(sire, dam, [0], [1]),
    "inverse": lambda sire, dam: kinship.relationship_inverse(sire, dam, np.zeros(len(sire))),
    "founders": lambda sire, dam: kinship.founder_contributions(sire, dam, [0]),
    "ancestors": lambda sire, dam: kinship.ancestor_contributions(sire, dam, [0]),
    "equivalent generations": kinship.equivalent_generations,
    "fully known generations": kinship.fully_known_generations,
    "effective size": kinship.effective_size,
    "common ancestors": lambda sire, dam: kinship.common_ancestors(sire, dam, 0, 1),
    "chains": lambda sire, dam: kinship.chains(sire, dam, 0, 1),
}
every_figure = pytest.mark.parametrize("figure", FIGURES.values(), ids=FIGURES)


@every_figure
@pytest.mark.parametrize(
    ("sire", "dam", "error", "rows", "said"),
    [
        ([-1, -1, 7], [-1, -1, 1], kinship.RowOutOfRange, (2,), "sire of row 2 .* rows go from 0 to 2"),
        ([-1, -1, 0], [-1, -5, 1], kinship.RowOutOfRange, (1,), "dam of row 1 "),
        ([-1, -1, 0.5], [-1, -1, 1], kinship.NotRows, (2,), "sire of row 2 is not a whole row number"),
        ([-1, -1, 0], [-1, np.nan, 1], kinship.NotRows, (1,), "dam of row 1 is not a whole row number"),
        ([-1, -1, 0], [-1, -1], kinship.PedigreeError, (), "3 sires and 2 dams"),
        ([-1, -1, 1], [-1, -1, 1], kinship.SameParent, (2,), "same animal in row 2"),
        ([-1, 1, 0], [-1, -1, 1], kinship.PedigreeLoop, (1,), "Row 1 is recorded as its own parent"),
        ([[-1, -1]], [[-1, -1]], kinship.NotRows, (), "2 dimensions"),
        (["0", "1"], [-1, -1], kinship.NotRows, (), "not row numbers"),
        ([None, None], [-1, -1], kinship.NotRows, (), "not row numbers"),
        ([True, False], [-1, -1], kinship.NotRows, (), "not row numbers"),
        (np.array([0, 2**64 - 1], np.uint64), [-1, -1], kinship.RowOutOfRange, (1,), "too large"),
    ],
)
def test_a_faulty_parent_is_refused_by_every_figure_and_its_row_named(figure, sire, dam, error, rows, said):
    with pytest.raises(error, match=said) as refused:
        figure(sire, dam)
    assert refused.value.rows == rows


@every_figure
def test_a_loop_is_refused_by_every_figure_and_its_rows_named(figure):
    #  0 is from 3, 3 from 2, 2 from 1, 1 from 0; 4 and 5 stand below and beside
    sire, dam = [3, 0, 4, 2, -1, 0], [-1, -1, 1, -1, -1, 4]
    with pytest.raises(kinship.PedigreeLoop, match="0 <- 3 <- 2 <- 1 <- 0") as refused:
        figure(sire, dam)
    assert refused.value.rows == (0, 3, 2, 1)


def test_a_loop_is_told_child_to_parent_and_without_the_animals_that_hang_from_it():
    sire = [1, 2, 1, 0, 3]  # 1 and 2 are each other's sire; 0, 3, 4 descend from them
    with pytest.raises(kinship.PedigreeLoop) as refused:
        kinship.ancestry_order(sire, [-1] * 5)
    assert refused.value.rows == (1, 2)


def test_a_long_loop_is_told_in_short_but_its_rows_are_all_kept():
    n = 1_000
    with pytest.raises(kinship.PedigreeLoop, match="and so on") as refused:
        kinship.inbreeding((np.arange(n) + 1) % n, np.full(n, -1))
    assert refused.value.rows == tuple(range(n))
    assert len(str(refused.value)) < 250


def test_a_loop_among_a_hundred_thousand_is_found():
    rng = np.random.default_rng(3)
    n = 100_000
    sire, dam = np.full(n, -1), np.full(n, -1)
    sire[10:] = rng.integers(0, np.arange(10, n))
    sire[5], sire[7] = 7, 5
    with pytest.raises(kinship.PedigreeLoop) as refused:
        kinship.inbreeding(sire, dam)
    assert refused.value.rows == (5, 7)


def test_many_rows_are_named_by_the_first_few():
    with pytest.raises(kinship.SameParent, match=r"rows 1, 2, 3, 4, 5, 6, 7, 8 and 91 more"):
        kinship.inbreeding([-1] + [0] * 99, [-1] + [0] * 99)


@pytest.mark.parametrize("rows", [[3], [-1], [0.5], [True]])
def test_animals_asked_about_must_be_rows(rows):
    with pytest.raises(kinship.PedigreeError):
        kinship.coancestry([-1, -1], [-1, -1], rows, [0])
    with pytest.raises(kinship.PedigreeError):
        kinship.founder_contributions([-1, -1], [-1, -1], rows)
    with pytest.raises(kinship.PedigreeError):
        kinship.common_ancestors([-1, -1], [-1, -1], 0, rows[0])


def test_pairs_must_come_in_pairs():
    with pytest.raises(kinship.PedigreeError, match="1 first and 2 second"):
        kinship.coancestry([-1, -1], [-1, -1], [0], [0, 1])


@pytest.mark.parametrize(
    ("f", "said"),
    [([0.0], "shape"), ([0.0, 1.5], "Inbreeding of row 1 is not between"), ([np.nan, 0.0], "Inbreeding of row 0 ")],
)
def test_inbreeding_given_must_be_one_value_a_row_between_0_and_1(f, said):
    sire = dam = [-1, -1]
    for figure in (
        lambda: kinship.relationship_inverse(sire, dam, f),
        lambda: kinship.mendelian_variance(sire, dam, f),
        lambda: kinship.coancestry(sire, dam, [0], [1], inbreeding=f),
    ):
        with pytest.raises(kinship.PedigreeError, match=said):
            figure()


def test_a_litter_without_new_variance_has_no_inverse():
    with pytest.raises(kinship.PedigreeError, match="Both parents of row 2 are fully inbred"):
        kinship.relationship_inverse([-1, -1, 0], [-1, -1, 1], [1.0, 1.0, 0.0])


def test_a_birth_before_the_parents_own_is_refused():
    with pytest.raises(kinship.PedigreeError, match="row 2 is born before its own parent") as refused:
        kinship.generation_interval([-1, -1, 0], [-1, -1, 1], [2020.0, 2023.0, 2022.0])
    assert refused.value.rows == (2,)
    with pytest.raises(kinship.PedigreeError, match="1 birth dates for 2 rows"):
        kinship.generation_interval([-1, -1], [-1, -1], [2020.0])


def test_completeness_needs_a_generation_or_more():
    with pytest.raises(kinship.PedigreeError, match="over 0 generations"):
        kinship.completeness([-1], [-1], 0)


@pytest.mark.parametrize(
    "as_given",
    [list, tuple, np.int8, np.int32, np.float64, lambda x: np.array(x)[::-1][::-1]],
    ids=["list", "tuple", "int8", "int32", "float64", "turned"],
)
def test_whole_numbers_of_any_kind_are_taken_and_left_as_they_were(as_given):
    sire, dam = as_given([-1, -1, 0, 0, 2]), as_given([-1, -1, 1, 1, 3])
    before = np.array(sire)
    assert kinship.inbreeding(sire, dam).tolist() == [0, 0, 0, 0, 0.25]
    assert (np.array(sire) == before).all()


def test_errors_are_of_the_kinds_that_python_code_expects():
    assert issubclass(kinship.PedigreeError, ValueError)
    assert issubclass(kinship.NotRows, TypeError)
    assert issubclass(kinship.RowOutOfRange, IndexError)


def test_an_empty_pedigree_gives_empty_answers():
    none = kinship.inbreeding([], [])
    assert none.shape == (0,)
    assert none.dtype == np.float64
    assert kinship.ancestry_order([], []).dtype == np.int64
    assert kinship.coancestry([], [], [], []).shape == (0,)
    assert kinship.relationship_inverse([], [], []).shape == (0, 0)
    assert kinship.founder_contributions([], [], []).shape == (0,)
    assert kinship.completeness([], [], 3).shape == (0,)
    assert kinship.equivalent_generations([], []).shape == (0,)
    assert kinship.longest_line([], []).shape == (0,)
    assert kinship.fully_known_generations([], []).shape == (0,)
    assert kinship.effective_size([], []).counted == 0
    assert kinship.generation_interval([], [], []).counted == (0, 0, 0, 0)
    assert len(kinship.ancestor_contributions([], [], []).rows) == 0
    for figure in (kinship.effective_founders, kinship.effective_ancestors, kinship.founder_genomes):
        assert np.isnan(figure([], [], []))


def test_one_animal_is_its_own_founder():
    assert kinship.inbreeding([-1], [-1]).tolist() == [0.0]
    assert kinship.coancestry([-1], [-1], [0], [0]).tolist() == [0.5]
    assert kinship.relationship_inverse([-1], [-1], [0.0]).toarray().tolist() == [[1.0]]
    assert kinship.founder_contributions([-1], [-1], [0]).tolist() == [1.0]
    assert kinship.effective_founders([-1], [-1], [0]) == kinship.effective_ancestors([-1], [-1], [0]) == 1.0
    assert kinship.founder_genomes([-1], [-1], [0]) == 1.0
    assert kinship.chains([-1], [-1], 0, 0)[0].contribution == 0.5
