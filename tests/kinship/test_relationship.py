"""Inbreeding, coancestry, order and inverse against the tabular method on small pedigrees, named and random."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pedigrees import kinship
from pedigrees.kinship import flow, frontier

from .gallery import GALLERY, examples, of, pedigrees, random_pedigree, shuffled
from .oracles import tabular_relationship


@pytest.fixture(params=["table", "table in little memory", "following", "as it chooses"])
def way(request, monkeypatch):
    """The ways in which mated pairs are worked out: with a table, by following bucks, or whichever seems quicker."""
    if request.param == "as it chooses":
        return
    never = 1e9 if request.param != "following" else 0.0
    monkeypatch.setattr(frontier, "BLOCK", never)  # seconds: how dear the other way is said to be
    monkeypatch.setattr(frontier, "FOLLOWED", never)
    monkeypatch.setattr(frontier, "ENTRY", 1e9 - never)
    monkeypatch.setattr(frontier, "BYTE", 1e9 - never)
    monkeypatch.setattr(frontier, "SMALL_HERD", 1)
    monkeypatch.setattr(frontier, "WORTH_A_THREAD", 0)
    monkeypatch.setattr(frontier, "CACHE_BYTES", 1_000)
    if request.param == "table in little memory":
        monkeypatch.setattr(frontier, "TABLE_BYTES", 16 * 30**2)  # 30 rows: some herds fit and some do not


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("name", GALLERY)
def test_inbreeding_is_the_diagonal_of_the_table(name):
    sire, dam = GALLERY[name]
    assert_allclose(kinship.inbreeding(sire, dam), tabular_relationship(sire, dam).diagonal() - 1, rtol=0, atol=1e-14)


@pytest.mark.parametrize("name", GALLERY)
def test_coancestry_is_half_the_table_for_every_pair(name):
    sire, dam = GALLERY[name]
    first, second = (grid.ravel() for grid in np.indices((len(sire), len(sire))))
    a = tabular_relationship(sire, dam).ravel()
    assert_allclose(2 * kinship.coancestry(sire, dam, first, second), a, rtol=0, atol=1e-14)
    f = kinship.inbreeding(sire, dam)
    assert_allclose(2 * kinship.coancestry(sire, dam, first, second, inbreeding=f), a, rtol=0, atol=1e-14)


@pytest.mark.parametrize("name", GALLERY)
def test_the_inverse_undoes_the_table(name):
    sire, dam = GALLERY[name]
    inverse = kinship.relationship_inverse(sire, dam, kinship.inbreeding(sire, dam))
    assert inverse.format == "csc"
    assert inverse.has_canonical_format
    assert inverse.shape == (len(sire), len(sire))
    assert (inverse != inverse.T).nnz == 0
    assert_allclose(inverse @ tabular_relationship(sire, dam), np.eye(len(sire)), rtol=0, atol=1e-9)


@examples
@given(pedigrees())
def test_any_pedigree_in_any_order_agrees_with_the_table(pedigree):
    sire, dam = pedigree
    a = tabular_relationship(sire, dam)
    f = kinship.inbreeding(sire, dam)
    assert_allclose(f, a.diagonal() - 1, rtol=0, atol=1e-14)
    first, second = (grid.ravel() for grid in np.indices(a.shape))
    assert_allclose(2 * kinship.coancestry(sire, dam, first, second), a.ravel(), rtol=0, atol=1e-14)
    assert_allclose(kinship.relationship_inverse(sire, dam, f) @ a, np.eye(len(f)), rtol=0, atol=1e-8)


@examples
@given(pedigrees())
def test_parents_stand_before_progeny_and_every_row_once(pedigree):
    sire, dam = pedigree
    order = kinship.ancestry_order(sire, dam)
    assert sorted(order) == list(range(len(sire)))
    turn = np.argsort(order)
    for parents in pedigree:
        assert (turn[parents[parents >= 0]] < turn[parents >= 0]).all()


@examples
@given(pedigrees(fewest=1), st.data())
def test_a_litter_is_as_inbred_as_its_parents_are_related(pedigree, data):
    sire, dam = pedigree
    buck = data.draw(st.integers(0, len(sire) - 1))
    doe = data.draw(st.integers(0, len(sire) - 1).filter(lambda row: row != buck or len(sire) == 1))
    f = kinship.inbreeding(sire, dam)
    if buck == doe:
        with pytest.raises(kinship.SameParent, match=f"row {buck}"):
            kinship.litter_inbreeding(sire, dam, f, buck, doe)
        return
    with_kit = kinship.inbreeding([*sire, buck], [*dam, doe])
    assert kinship.litter_inbreeding(sire, dam, f, buck, doe) == pytest.approx(with_kit[-1], abs=1e-14)


@examples
@given(pedigrees(fewest=1))
def test_mean_coancestry_counts_every_pair_and_each_animal_with_itself(pedigree):
    sire, dam = pedigree
    cohort = np.arange(0, len(sire), 2)
    a = tabular_relationship(sire, dam)[np.ix_(cohort, cohort)]
    assert kinship.mean_coancestry(sire, dam, cohort) == pytest.approx(a.mean() / 2, abs=1e-14)


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("kits", [1, 7])
def test_broad_generations_with_litters_agree_with_the_table(kits):
    # 260 parents a generation, so that the table is made in several pieces, and turned over in several squares
    rng = np.random.default_rng(kits)
    pairs = [(-1, -1)] * 260
    for start in (0, 260, 520):
        bucks, does = np.arange(start, start + 120), np.arange(start + 120, start + 260)
        matings = np.stack([rng.choice(bucks, 260), rng.choice(does, 260)], axis=1)
        pairs += np.repeat(matings[: -(-260 // kits)], kits, axis=0)[:260].tolist()
    sire, dam = shuffled(rng.permutation(len(pairs)), *of(*pairs))
    a = np.eye(len(sire) + 1)
    for row in kinship.ancestry_order(sire, dam):  # the tabular method again, a row at a time
        done = np.append(a[:-1, -1] > 0, False)  # the last column marks the rows that are done
        a[row, done] = a[done, row] = (a[sire[row], done] * (sire[row] >= 0) + a[dam[row], done] * (dam[row] >= 0)) / 2
        a[row, row] = 1 + a[sire[row], dam[row]] / 2 * (sire[row] >= 0)
        a[row, -1] = 1
    assert_allclose(kinship.inbreeding(sire, dam), a.diagonal()[:-1] - 1, rtol=0, atol=1e-14)


def test_blocks_of_followed_animals_join_without_a_seam(monkeypatch):
    sire, dam = random_pedigree(np.random.default_rng(8), 200)
    first, second = (grid.ravel() for grid in np.indices((200, 200)))
    whole = kinship.coancestry(sire, dam, first, second)
    monkeypatch.setattr(flow, "FEWEST", 3)
    monkeypatch.setattr(flow, "CACHE_BYTES", 1)
    assert_allclose(kinship.coancestry(sire, dam, first, second), whole, rtol=0, atol=1e-14)


def test_the_smaller_side_of_the_pairs_is_followed_whichever_stands_first():
    sire, dam = GALLERY["300 at random"]
    one, many = np.full(300, 7), np.arange(300)
    assert_allclose(
        kinship.coancestry(sire, dam, one, many), kinship.coancestry(sire, dam, many, one), rtol=0, atol=1e-15
    )


def test_full_sibs_share_one_inbreeding_to_the_last_bit():
    sire, dam = GALLERY["closed ring"]
    litters = np.repeat(np.arange(len(sire)), 5)
    grown_sire = np.where(sire[litters] >= 0, 5 * sire[litters], -1)
    grown_dam = np.where(dam[litters] >= 0, 5 * dam[litters] + 1, -1)
    f = kinship.inbreeding(grown_sire, grown_dam).reshape(-1, 5)
    assert (f == f[:, :1]).all()
    assert f.max() > 0


def test_a_founder_that_comes_late_is_not_related_to_anyone_before():
    # an imported buck, row 0, serves a doe of the fourth generation
    sire, dam = of((-1, -1), (-1, -1), (-1, -1), (2, 1), (2, 3), (2, 4), (0, 5), (2, 6))
    a = tabular_relationship(sire, dam)
    assert_allclose(kinship.inbreeding(sire, dam), a.diagonal() - 1, rtol=0, atol=1e-15)
    assert kinship.inbreeding(sire, dam)[6] == 0.0


def test_a_line_of_2000_generations_is_neither_too_deep_nor_inexact():
    pair = np.arange(2000).repeat(2)
    sire, dam = 2 * pair - 2, 2 * pair - 1
    sire[:2] = dam[:2] = -1
    f = kinship.inbreeding(sire, dam)
    assert (np.diff(f[::2]) >= 0).all()
    assert f[-1] == pytest.approx(1, abs=1e-12)
    with pytest.raises(kinship.PedigreeError, match="fully inbred, so the relationship matrix has no inverse"):
        kinship.relationship_inverse(sire, dam, f)


def test_a_new_litter_is_as_inbred_as_the_whole_registry_says():
    # how long it takes in a registry of 100,000 is a line of the benchmark
    sire, dam = random_pedigree(np.random.default_rng(8), 2_000, span=300)
    f = kinship.inbreeding(sire, dam)
    for kit in np.flatnonzero((sire >= 0) & (dam >= 0))[::150]:
        assert kinship.litter_inbreeding(sire, dam, f, sire[kit], dam[kit]) == pytest.approx(f[kit], abs=1e-14)
