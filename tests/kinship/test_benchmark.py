"""The benchmark times what it says: its peers give the same answers, and its registry is a pedigree worth timing."""

import numpy as np
import pytest

from pedigrees import kinship
from pedigrees.kinship import benchmark


@pytest.mark.parametrize("peer", [benchmark.tabular, benchmark.recursion])
def test_peers_agree_on_a_simulated_registry(peer):
    sire, dam = benchmark.simulated_registry(600, generations=8)
    f = kinship.inbreeding(sire, dam)
    assert f.max() > 0.1
    np.testing.assert_allclose(peer(sire, dam), f, rtol=0, atol=1e-14)


def test_a_simulated_registry_has_the_generations_and_litters_asked_for():
    sire, dam = benchmark.simulated_registry(6_000, generations=10, litters_a_buck=5, litters_a_doe=2)
    assert kinship.longest_line(sire, dam).max() == 9
    kinship.refuse_both_roles(sire, dam)
    last = np.arange(5_400, 6_000)
    assert len(np.unique(sire[last])) == pytest.approx(20, abs=3)
    assert len(np.unique(dam[last])) == pytest.approx(50, abs=5)


@pytest.mark.parametrize("question", [q for q, method in benchmark.METHODS.items() if not isinstance(method[0], str)])
def test_every_line_measures_time_memory_and_an_answer(question):
    seconds, cores, memory, found = benchmark.measured(*question, 400, 8, 10, 2)
    assert seconds > 0
    assert cores >= 0
    assert memory > 0
    assert found.shape[0] in (400, 9, 1_000)


def test_too_small_a_registry_is_refused(capsys):
    with pytest.raises(SystemExit):
        benchmark.main(["--animals", "20"])
    assert "two generations or more" in capsys.readouterr().err
