"""Every published worked example of relationship and population; each source stands in the fixture and by its test."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pedigrees import kinship

from .gallery import CHECKS, rows_of


def case(name):
    """What is given, what must come out, and how closely; the source is in the fixture."""
    check = CHECKS[name]
    return check["given"], check["expect"], check["tolerance"]


def by_name(row, values):
    return {name: values[place] for name, place in row.items() if name is not None}


def assert_named(found, expected, tolerance):
    assert_allclose([found[name] for name in expected], list(expected.values()), rtol=0, atol=tolerance)


@pytest.mark.parametrize("number", range(14), ids=[c["mating"] for c in CHECKS["matings"]["given"]["cases"]])
def test_progeny_of_relatives_are_as_inbred_as_wright_says(number):
    # Wright 1922, from the definition
    given, expect, tolerance = case("matings")
    mating = given["cases"][number]
    row, sire, dam = rows_of(mating["pedigree"])
    kit = row[mating["animal"]]
    assert kinship.inbreeding(sire, dam)[kit] == pytest.approx(expect["f"][number], abs=tolerance)
    if sire[kit] >= 0 and dam[kit] >= 0:
        assert kinship.coancestry(sire, dam, [sire[kit]], [dam[kit]])[0] == pytest.approx(
            expect["f"][number], abs=tolerance
        )


@pytest.mark.parametrize("system", ["full sibs", "younger parent"])
def test_a_line_of_full_sibs_goes_through_the_table_of_falconer_and_mackay(system):
    # Falconer and Mackay, table of inbreeding under close mating (from memory)
    given, expect, tolerance = case("full-sib-line")
    f = []
    if system == "full sibs":
        sire, dam = full_sib_line(given["generations"])
        f = kinship.inbreeding(sire, dam)[4::2]
    else:
        n = given["generations"] + 3
        sire, dam = np.arange(n) - 1, np.arange(n) - 2
        sire[:2] = dam[:2] = -1
        f = kinship.inbreeding(sire, dam)[3:]
    assert_allclose(f, expect["f"], rtol=0, atol=1e-10)  # written down with ten digits
    assert_allclose(np.round(f, 3), expect["rounded"], rtol=0, atol=tolerance)


def full_sib_line(generations):
    """Two founders, two kits of theirs, and so on: rows 2g and 2g + 1 are from rows 2g - 2 and 2g - 1."""
    pair = np.arange(generations + 2).repeat(2)
    sire, dam = 2 * pair - 2, 2 * pair - 1
    sire[:2] = dam[:2] = -1
    return sire, dam


def half_sib_line(generations):
    """In each generation one buck on does that are half sibs of his and of each other, through their sire alone."""
    sire, dam, before, n = [], [], [], 0
    for size in range(generations + 2, 1, -1):
        sire += [before[0] if before else -1] * size
        dam += before[1:] if before else [-1] * size
        before, n = list(range(n, n + size)), n + size
    return sire, dam, before[0]


def test_regular_close_mating_loses_what_its_recurrence_says():
    # roots of the recurrences
    _, expect, tolerance = case("limiting-rates")
    f = kinship.inbreeding(*full_sib_line(40))
    rate = kinship.rate_between(f[60], f[62])
    assert rate == pytest.approx(expect["full_sib_rate"], abs=tolerance)
    assert kinship.size_from_rate(rate) == pytest.approx(expect["full_sib_ne"], abs=1e-7)
    sire, dam, last = half_sib_line(40)
    f = kinship.inbreeding(sire, dam)
    rate = kinship.rate_between(f[sire[last]], f[last])
    assert rate == pytest.approx(expect["half_sib_rate"], abs=tolerance)
    assert kinship.size_from_rate(rate) == pytest.approx(expect["half_sib_ne"], abs=1e-7)


def test_roan_gauntlet_is_inbred_through_three_chains():
    # Wright 1922 (pedigree and value from memory): 1/16 + 1/16 + 1/64
    given, expect, tolerance = case("roan-gauntlet")
    row, sire, dam = rows_of(given["pedigree"])
    bull = row[expect["animal"]]
    assert kinship.inbreeding(sire, dam)[bull] == pytest.approx(expect["f"], abs=tolerance)
    chains = kinship.chains(sire, dam, sire[bull], dam[bull])
    assert len(chains) == expect["chains"]
    assert sorted(chain.contribution for chain in chains) == [1 / 64, 1 / 16, 1 / 16]
    common = kinship.common_ancestors(sire, dam, sire[bull], dam[bull])
    assert dict(zip(common.rows.tolist(), common.contribution.tolist(), strict=True)) == {
        row["Champion_of_England"]: 1 / 8,
        row["Lord_Raglan"]: 1 / 64,
    }


def all_pairs(sire, dam):
    """A of a small pedigree through coancestry."""
    first, second = (grid.ravel() for grid in np.indices((len(sire), len(sire))))
    return 2 * kinship.coancestry(sire, dam, first, second).reshape(len(sire), len(sire))


def test_six_animals_of_mrode_and_thompson():
    # Mrode and Thompson, Table 2.1 and sections 2.2-2.4
    given, expect, tolerance = case("six-animals")
    _, sire, dam = rows_of(given["pedigree"])
    f = kinship.inbreeding(sire, dam)
    assert_allclose(f, expect["f"], rtol=0, atol=tolerance)
    assert_allclose(all_pairs(sire, dam), expect["a"], rtol=0, atol=tolerance)
    assert_allclose(kinship.mendelian_variance(sire, dam, f), expect["mendelian"], rtol=0, atol=tolerance)
    inverse = kinship.relationship_inverse(sire, dam, f)
    assert_allclose(inverse.toarray(), expect["inverse"], rtol=0, atol=1e-9)  # written down with ten digits
    ignoring = kinship.relationship_inverse(sire, dam, np.zeros(6))
    assert_allclose(ignoring.toarray(), expect["inverse_ignoring_inbreeding"], rtol=0, atol=1e-9)


def test_seven_animals_of_christensen():
    # K. Christensen, course notes in population genetics, section 4.5 (printed as 0.218, cut off)
    given, expect, tolerance = case("seven-animals")
    _, sire, dam = rows_of(given["pedigree"])
    assert_allclose(kinship.inbreeding(sire, dam), expect["f"], rtol=0, atol=tolerance)
    assert_allclose(all_pairs(sire, dam), expect["a"], rtol=0, atol=tolerance)


def test_order_does_not_matter_and_faults_are_refused():
    # by definition
    given, expect, tolerance = case("order-and-faults")
    row, sire, dam = rows_of(given["shuffled"])
    assert_named(by_name(row, kinship.inbreeding(sire, dam)), expect["shuffled_f"], tolerance)
    for fault, names in (("loop", "pq"), ("self", "p")):
        row, sire, dam = rows_of(given[fault])
        for figure in (kinship.ancestry_order, kinship.inbreeding):
            with pytest.raises(kinship.PedigreeLoop) as refused:
                figure(sire, dam)
            assert set(refused.value.rows) == {row[name] for name in names}
    row, sire, dam = rows_of(given["both_roles"])
    with pytest.raises(kinship.BothRoles) as refused:
        kinship.refuse_both_roles(sire, dam)
    assert refused.value.rows == (row["x"],)
    assert f"row {row['x']}" in str(refused.value)


def test_mendelian_variance_in_closed_form():
    # Quaas 1976, Henderson 1976
    given, expect, tolerance = case("mendelian")
    sire, dam = [-1, -1, 0, 0, -1], [-1, -1, 1, -1, 1]
    for of_sire, of_dam, variance in expect["both"]:
        found = kinship.mendelian_variance(sire, dam, [of_sire, of_dam, 0, 0, 0])
        assert found[2] == pytest.approx(variance, abs=tolerance)
        assert found[0] == found[1] == expect["none"]
    for of_parent, variance in given["one_known"]:
        found = kinship.mendelian_variance(sire, dam, [of_parent, of_parent, 0, 0, 0])
        assert found[3] == found[4] == pytest.approx(variance, abs=tolerance)


def test_expected_inbreeding_and_spread_of_three_matings():
    # computed from the animal model of Mrode and Thompson by definition; additive variance 20
    given, expect, tolerance = case("progeny")
    row, sire, dam = rows_of(CHECKS[given["uses"]]["given"]["pedigree"])
    f = kinship.inbreeding(sire, dam)
    for line in expect["rows"]:
        found = dict(zip(expect["columns"], line, strict=True))
        one, other = row[found["one"]], row[found["other"]]
        assert kinship.litter_inbreeding(sire, dam, f, one, other) == pytest.approx(found["f"], abs=tolerance)
        kit = kinship.mendelian_variance([*sire, one], [*dam, other], [*f, found["f"]])[-1]
        assert 20 * kit == pytest.approx(found["mendelian"], abs=tolerance)


def test_founders_and_ancestors_of_twelve_rabbits():
    # Lacy 1989; Boichard, Maignel and Verrier 1997
    given, expect, tolerance = case("twelve-rabbits")
    row, sire, dam = rows_of(given["pedigree"])
    cohort = [row[name] for name in given["reference"]]
    shares = by_name(row, kinship.founder_contributions(sire, dam, cohort))
    expected = dict(expect["founder_shares"])
    expected["K"] = expected.pop("unknown parent of K")  # told at the row of the progeny
    assert_named(shares, dict.fromkeys(shares, 0.0) | expected, tolerance)
    assert kinship.effective_founders(sire, dam, cohort) == pytest.approx(expect["effective_founders"], abs=1e-8)
    found = kinship.ancestor_contributions(sire, dam, cohort)
    name_of = {place: name for name, place in row.items()}
    names = [
        ("unknown parent of " if unknown else "") + name_of[place]
        for place, unknown in zip(found.rows.tolist(), found.unknown.tolist(), strict=True)
    ]
    assert names == [name for name, _ in expect["ancestors"]]
    assert_allclose(found.share, [share for _, share in expect["ancestors"]], rtol=0, atol=tolerance)
    assert kinship.effective_ancestors(sire, dam, cohort) == pytest.approx(expect["effective_ancestors"], abs=1e-8)
    assert kinship.founder_genomes(sire, dam, cohort) == pytest.approx(expect["founder_genomes"], abs=tolerance)


def test_depth_and_completeness_of_twelve_rabbits():
    # Maignel et al. 1996; MacCluer et al. 1983
    given, expect, tolerance = case("twelve-rabbits")
    row, sire, dam = rows_of(given["pedigree"])
    found = {
        "f": kinship.inbreeding(sire, dam),
        "equivalent_generations": kinship.equivalent_generations(sire, dam),
        "longest_line": kinship.longest_line(sire, dam),
        "fully_known_generations": kinship.fully_known_generations(sire, dam),
        "completeness": kinship.completeness(sire, dam, given["completeness_depth"]),
    }
    for what, values in found.items():
        assert_named(by_name(row, values), expect[what], tolerance)


def test_generation_interval_over_four_paths():
    # Rendel and Robertson 1950; James 1977
    given, expect, tolerance = case("generation-interval")
    row, sire, dam = rows_of(CHECKS[given["uses"]]["given"]["pedigree"])
    found = kinship.generation_interval(sire, dam, [given["born"][name] for name in row if name])
    for path, age in expect.items():
        assert getattr(found, path) == pytest.approx(age, abs=tolerance)
    assert sum(found.counted) == 13  # E to K bred on; all but K, whose dam is unknown, have both parents


def test_effective_size_in_closed_form():
    # Wright 1931, 1938; Falconer and Mackay chapter 4 (from memory)
    given, expect, tolerance = case("effective-size-formulas")
    for (bucks, does), size in zip(given["sexes"], expect["sexes"], strict=True):
        assert kinship.size_from_parents(bucks, does) == pytest.approx(size, abs=1e-8)
    for (parents, variance), size in zip(given["family"], expect["family"], strict=True):
        assert kinship.size_from_family_variance(parents, variance) == pytest.approx(size, abs=tolerance)
    rate = kinship.rate_between(*given["before_after"])
    assert kinship.size_from_rate(rate) == pytest.approx(expect["rate"], abs=tolerance)
    assert kinship.size_over_generations(given["harmonic"]) == pytest.approx(expect["harmonic"], abs=1e-8)
