"""Common ancestors and chains against walking every line up from both animals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pedigrees import kinship

from .gallery import GALLERY, examples, of, pedigrees, random_pedigree
from .oracles import wright_chains


@examples
@given(pedigrees(most=9, fewest=1), st.data())
def test_chains_and_contributions_are_those_of_wrights_rule(pedigree, data):
    sire, dam = pedigree
    first, second = (data.draw(st.integers(0, len(sire) - 1)) for _ in "ab")
    f = kinship.inbreeding(sire, dam)
    expected = wright_chains(sire, dam, first, second)
    found = kinship.chains(sire, dam, first, second, at_most=10**6)
    assert sorted((c.ancestor, c.first_line, c.second_line) for c in found) == sorted(expected)
    by_ancestor = {}
    for chain, (ancestor, one, other) in zip(sorted(found, key=key), sorted(expected), strict=True):
        value = 0.5 ** (len(one) + len(other) - 1) * (1 + f[ancestor])
        assert chain.contribution == pytest.approx(value, abs=1e-15)
        by_ancestor[ancestor] = by_ancestor.get(ancestor, 0) + value
    common = kinship.common_ancestors(sire, dam, first, second)
    assert dict(zip(common.rows.tolist(), common.contribution.tolist(), strict=True)) == pytest.approx(by_ancestor)
    assert (np.diff(common.contribution) <= 1e-15).all()
    assert common.coancestry == pytest.approx(kinship.coancestry(sire, dam, [first], [second])[0], abs=1e-14)
    for row, one, other in zip(common.rows, common.from_first, common.from_second, strict=True):
        assert one == fewest(sire, dam, first, row)
        assert other == fewest(sire, dam, second, row)


def key(chain):
    return chain.ancestor, chain.first_line, chain.second_line


def fewest(sire, dam, row, ancestor):
    """Fewest generations from row up to ancestor."""
    back, now = 0, {row}
    while ancestor not in now:
        back, now = back + 1, {parent for one in now for parent in (sire[one], dam[one]) if parent >= 0}
    return back


def test_full_sibs_are_related_through_their_two_parents():
    sire, dam = GALLERY["full sibs mated"]
    assert kinship.chains(sire, dam, 2, 3) == [
        kinship.Chain(0, (2, 0), (3, 0), 1 / 8),
        kinship.Chain(1, (2, 1), (3, 1), 1 / 8),
    ]
    common = kinship.common_ancestors(sire, dam, 2, 3)
    assert common.rows.tolist() == [0, 1]
    assert common.contribution.tolist() == [1 / 8, 1 / 8]
    assert common.coancestry == 1 / 4


def test_an_inbred_ancestor_adds_more():
    #  4, from full sibs, is inbred 1/4; 5 and 6 are its progeny by unrelated mates: (1/2) ** 3 x (1 + 1/4)
    sire, dam = GALLERY["full sibs mated"]
    sire, dam = np.append(sire, [4, 4]), np.append(dam, [-1, -1])
    (chain,) = kinship.chains(sire, dam, 5, 6)
    assert chain == kinship.Chain(4, (5, 4), (6, 4), 5 / 32)
    assert kinship.common_ancestors(sire, dam, 5, 6).rows.tolist() == [4]  # nobody behind 4 counts again


def test_an_animal_is_the_common_ancestor_of_itself_and_its_progeny():
    sire, dam = of((-1, -1), (-1, -1), (0, 1))
    assert kinship.chains(sire, dam, 0, 2) == [kinship.Chain(0, (0,), (2, 0), 1 / 4)]
    common = kinship.common_ancestors(sire, dam, 0, 2)
    assert (common.rows.tolist(), common.from_first.tolist(), common.from_second.tolist()) == ([0], [0], [1])


def test_unrelated_animals_have_no_chain():
    sire, dam = GALLERY["two herds"]
    assert kinship.chains(sire, dam, 4, 5) == []
    common = kinship.common_ancestors(sire, dam, 4, 5)
    assert len(common.rows) == len(common.contribution) == 0
    assert common.coancestry == 0.0


def test_in_a_deep_pedigree_contributions_still_add_up_to_the_coancestry():
    sire, dam = random_pedigree(np.random.default_rng(6), 600, span=40, unknown=0.02)
    f = kinship.inbreeding(sire, dam)
    for first, second in ((599, 598), (17, 400), (300, 301)):
        common = kinship.common_ancestors(sire, dam, first, second, inbreeding=f)
        whole = kinship.coancestry(sire, dam, [first], [second], inbreeding=f)[0]
        assert_allclose(common.contribution.sum(), whole, rtol=1e-9)
        assert (common.contribution > 0).all()


def test_chains_of_a_deep_pedigree_come_shortest_first_and_only_as_many_as_asked():
    sire, dam = random_pedigree(np.random.default_rng(6), 600, span=40, unknown=0.02)
    found = kinship.chains(sire, dam, 599, 598, at_most=7)
    steps = [len(chain.first_line) + len(chain.second_line) for chain in found]
    assert len(found) == 7
    assert steps == sorted(steps)
    assert len(set(found)) == 7
