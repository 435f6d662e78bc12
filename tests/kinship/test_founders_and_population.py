"""Founders, ancestors, depth and size against plain recursion over every line of a pedigree."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pedigrees import kinship

from .gallery import GALLERY, examples, of, pedigrees, random_pedigree
from .oracles import elders_first, founder_shares, line_counts, marginal_ancestors


@examples
@given(pedigrees(most=14, fewest=1), st.data())
def test_founder_shares_are_those_found_by_climbing_every_line(pedigree, data):
    sire, dam = pedigree
    cohort = data.draw(st.lists(st.integers(0, len(sire) - 1), min_size=1, max_size=5))
    expected = np.zeros(len(sire))
    for founder, share in founder_shares(sire, dam, cohort).items():
        expected[founder if isinstance(founder, int | np.integer) else founder[1]] += share
    found = kinship.founder_contributions(sire, dam, cohort)
    assert_allclose(found, expected, rtol=0, atol=1e-14)
    assert found.sum() == pytest.approx(1, abs=1e-14)
    assert kinship.effective_founders(sire, dam, cohort) == pytest.approx(1 / (expected**2).sum())


@examples
@given(pedigrees(most=14, fewest=1), st.data())
def test_ancestors_are_taken_by_what_they_add(pedigree, data):
    sire, dam = pedigree
    cohort = data.draw(st.lists(st.integers(0, len(sire) - 1), min_size=1, max_size=5))
    expected = marginal_ancestors(sire.tolist(), dam.tolist(), cohort)
    found = kinship.ancestor_contributions(sire, dam, cohort)
    assert_allclose(found.share, [line[2] for line in expected], rtol=0, atol=1e-13)
    # two that add the same may stand in either order, so each is looked up
    ours = dict(zip(zip(found.rows.tolist(), found.unknown.tolist(), strict=True), found.share, strict=True))
    assert ours == pytest.approx({(row, unknown): share for row, unknown, share in expected}, abs=1e-13)
    assert found.share.sum() == pytest.approx(1, abs=1e-11)


def test_the_list_of_ancestors_can_be_cut_short():
    sire, dam = GALLERY["300 at random"]
    cohort = np.arange(250, 300)
    whole = kinship.ancestor_contributions(sire, dam, cohort)
    short = kinship.ancestor_contributions(sire, dam, cohort, at_most=5)
    assert short.rows.tolist() == whole.rows[:5].tolist()
    assert_allclose(short.share, whole.share[:5], rtol=0, atol=0)


def test_a_bottleneck_shows_in_ancestors_and_not_in_founders():
    #  0 ─┬─ 1   2 ─┬─ 3
    #     4 ────┬─── 5        a single pair, then its four kits
    #       6 7 8 9
    sire, dam = of(*[(-1, -1)] * 4, (0, 1), (2, 3), *[(4, 5)] * 4)
    assert kinship.effective_founders(sire, dam, [6, 7, 8, 9]) == pytest.approx(4)
    assert kinship.effective_ancestors(sire, dam, [6, 7, 8, 9]) == pytest.approx(2)


@examples
@given(pedigrees(most=14))
def test_depth_is_what_counting_every_line_gives(pedigree):
    sire, dam = pedigree
    known, n = line_counts(sire.tolist(), dam.tolist()), len(sire)
    counts = np.array([[known(row, back) for back in range(n + 1)] for row in range(n)]).reshape(n, n + 1)
    full = 2.0 ** np.arange(n + 1)
    assert_allclose(kinship.equivalent_generations(sire, dam), (counts / full)[:, 1:].sum(axis=1), atol=1e-12)
    assert kinship.longest_line(sire, dam).tolist() == [int(np.flatnonzero(line)[-1]) for line in counts]
    assert kinship.fully_known_generations(sire, dam).tolist() == [
        int(np.flatnonzero(line != full)[0]) - 1 for line in counts
    ]
    for depth in (1, 2, 4):
        sides = [
            [sum(known(parent, back) / 2**back for back in range(depth)) / depth for parent in (sire[row], dam[row])]
            for row in range(n)
        ]
        index = [2 * one * other / (one + other) if one + other else 0.0 for one, other in sides]
        assert_allclose(kinship.completeness(sire, dam, depth), index, rtol=0, atol=1e-14)


def test_effective_size_of_a_line_of_full_sibs_is_that_of_its_rate():
    # the individual increase of a regular system settles at the rate of its recurrence, 0.19098: size 2.618
    pair = np.arange(200).repeat(2)
    sire, dam = 2 * pair - 2, 2 * pair - 1
    sire[:2] = dam[:2] = -1
    found = kinship.effective_size(sire, dam, [120, 121])
    assert found.counted == 2
    assert found.size == pytest.approx(2.618, abs=0.03)
    assert found.standard_error == pytest.approx(0, abs=1e-9)


def test_effective_size_of_a_random_population_is_that_of_its_parents():
    # 8 bucks and 24 does a generation, families at random: 4 x 8 x 24 / 32 = 24 (Wright 1931), within four errors
    rng = np.random.default_rng(11)
    kits, generations, sire, dam = 320, 14, [-1] * 320, [-1] * 320
    for start in range(0, kits * generations, kits):
        bucks = rng.choice(np.arange(start, start + kits // 2), 8, replace=False)
        does = rng.choice(np.arange(start + kits // 2, start + kits), 24, replace=False)
        sire += rng.choice(bucks, kits).tolist()
        dam += rng.choice(does, kits).tolist()
    found = kinship.effective_size(sire, dam, np.arange(len(sire) - kits, len(sire)))
    assert found.size == pytest.approx(kinship.size_from_parents(8, 24), rel=0.2)
    assert found.counted == kits
    assert found.rate == pytest.approx(1 / (2 * found.size))


def test_effective_size_says_when_nothing_can_be_said():
    founders = kinship.effective_size([-1, -1], [-1, -1])
    assert np.isnan(founders.size)
    assert founders.counted == 0
    sire, dam = of(*[(-1, -1)] * 4, (0, 1), (2, 3), (4, 5))
    outbred = kinship.effective_size(sire, dam)
    assert outbred.size == np.inf
    assert outbred.counted == 1


def test_an_interval_without_dates_or_progeny_is_nan_and_counted_as_none():
    nothing = kinship.generation_interval([-1, -1, 0], [-1, -1, 1], [np.nan] * 3)
    assert np.isnan(nothing.interval)
    assert nothing.counted == (0, 0, 0, 0)
    #  3 is from 2 and an unknown doe; 2, from 0 and 1, bred on as a sire
    some = kinship.generation_interval([-1, -1, 0, 2], [-1, -1, 1, -1], [2020, 2020.5, 2021, 2022])
    assert (some.sire_son, some.dam_son) == (1.0, 0.5)
    assert np.isnan(some.sire_daughter)
    assert some.interval == 0.75
    assert some.counted == (1, 0, 1, 0)


def test_founder_genomes_are_fewer_than_ancestors_and_founders():
    # drift loses genes on top of unequal shares: Lacy 1989; Boichard, Maignel and Verrier 1997
    sire, dam = random_pedigree(np.random.default_rng(2), 400, span=60, unknown=0.03)
    cohort = elders_first(sire, dam)[-40:]
    genomes = kinship.founder_genomes(sire, dam, cohort)
    ancestors = kinship.effective_ancestors(sire, dam, cohort)
    assert genomes < ancestors < kinship.effective_founders(sire, dam, cohort)
