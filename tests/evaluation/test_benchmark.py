"""The benchmark can be run again, its peer gives the same merits, and the threshold model is at its top."""

import json

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import ndtr

from grading.evaluation import benchmark, thresholds
from grading.evaluation.nation import TRUTH, made_up


@pytest.mark.slow
def test_one_size_is_measured_beside_the_direct_solver(capsys):
    benchmark.main(["--one", "400", "1200"])
    row = json.loads(capsys.readouterr().out)
    assert row["difference"] < 1e-8
    assert row["converged"]
    assert row["accuracy"] > 0.5
    lines = benchmark.table([row]).splitlines()
    assert lines[0].count("|") == lines[2].count("|") == len(benchmark.COLUMNS) + 1


def test_a_made_up_breed_is_the_same_each_time_and_has_the_variances_it_says():
    one, other = (made_up(2000, 4000) for _ in range(2))
    assert (one.records.value == other.records.value).all()
    founders = one.pedigree.sire[one.born == 0]
    assert (founders == -1).all()
    assert one.merit.var() == pytest.approx(TRUTH.animal, rel=0.3)


@pytest.mark.slow
def test_the_threshold_model_is_at_the_top_of_its_posterior():
    nation = made_up(80, 240, 3)
    rng = np.random.default_rng(3)
    animal, grader = nation.records.animal, rng.integers(0, 3, 240)
    step = np.searchsorted([-0.8, 0.2, 1.0], nation.merit[animal] + rng.standard_normal(240))
    merit, points = thresholds.most_likely(step, animal, grader, nation.pedigree, 0.5)

    def posterior(merit, points, lean):
        eta = lean[grader] + merit[animal]
        ends = np.concatenate([[-np.inf], points, [np.inf]])
        chance = ndtr(ends[step + 1] - eta) - ndtr(ends[step] - eta)
        return np.log(chance).sum() - merit @ (nation.pedigree.inverse @ merit) / (2 * 0.5)

    best = minimize(lambda lean: -posterior(merit, points, np.append(0, lean)), np.zeros(2), tol=1e-12).x
    lean, top = np.append(0, best), posterior(merit, points, np.append(0, best))
    for k in range(0, 80, 9):
        for side in (1e-3, -1e-3):
            moved = merit.copy()
            moved[k] += side
            assert posterior(moved, points, lean) < top + 1e-8
    for c in range(3):
        for side in (1e-3, -1e-3):
            assert posterior(merit, points + side * (np.arange(3) == c), lean) < top + 1e-8


def test_sizes_that_fail_are_told_and_the_others_measured(monkeypatch, capsys):
    class Done:
        def __init__(self, command, **_):
            self.returncode = int(command[-2] == "3000")
            self.stdout, self.stderr = json.dumps({"animals": int(command[-2]), "solve": 0.5}), "no memory"

    monkeypatch.setattr(benchmark.subprocess, "run", Done)
    benchmark.main(["--largest", "10000"])
    said = capsys.readouterr()
    assert "3000 animals failed" in said.err
    assert [line.split("|")[1].strip() for line in said.out.splitlines()[2:]] == ["1,000", "10,000"]
