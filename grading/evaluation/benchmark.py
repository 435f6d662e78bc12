"""How fast and how large: `python -m grading.evaluation.benchmark`, a table of sizes, each in a process of its own.

    python -m grading.evaluation.benchmark                       1,000 to 20,000 animals, three looks each
    python -m grading.evaluation.benchmark --largest 1000000     and up, five looks each from 100,000 on
    python -m grading.evaluation.benchmark thresholds            what ordered thresholds would change

Beside each size that it fits stands the naive peer: the same equations, all of them, by SciPy's sparse direct solver.
Times are seconds by the wall clock, and beside them of the processor, which another program at work does not lengthen
(set OPENBLAS_NUM_THREADS=1 for that: waiting threads count too). Memory is the most that the process held.
"""

import argparse
import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import sparse
from scipy.sparse import linalg

from .data import Numbers
from .design import Design
from .nation import TRUTH, made_up
from .reliability import reliability, reliability_error
from .solving import solve
from .thresholds import report
from .variances import estimate_variances

SIZES = (1_000, 3_000, 10_000, 20_000, 100_000, 300_000, 1_000_000)
PEER_MOST = 20_000
MOST_SECONDS = 7200
COLUMNS = {
    "animals": "animals",
    "looks": "looks",
    "levels": "fixed levels",
    "read": "read in",
    "solve": "solve",
    "rounds": "CG rounds",
    "peer": "direct peer",
    "difference": "largest difference",
    "reml": "REML",
    "reml_rounds": "REML rounds",
    "reliability": "reliability",
    "reliability_error": "its error (rms)",
    "heritability": "heritability",
    "accuracy": "cor(merit, true)",
    "slope": "true on merit",
    "gigabytes": "GB",
}


def timed(work: Callable[[], Any]) -> tuple[Any, str]:
    """What the work gives, and its seconds by the wall clock and of the processor."""
    wall, processor = time.perf_counter(), time.process_time()
    done = work()
    return done, f"{time.perf_counter() - wall:.2f} ({time.process_time() - processor:.2f})"


def measure(animals: int, looks: int) -> dict[str, Any]:
    """One size, all figures."""
    nation = made_up(animals, looks)
    pedigree, records = nation.pedigree, nation.records
    _, read = timed(lambda: (Design([records], pedigree), pedigree.inverse))
    solution, seconds = timed(lambda: solve(records, pedigree, TRUTH, tolerance=1e-8))
    row = {"animals": animals, "looks": looks, "levels": solution.rank, "read": read, "solve": seconds}
    row |= {"rounds": solution.iterations, "converged": solution.converged}
    row["accuracy"] = float(np.corrcoef(solution.merit, nation.merit)[0, 1])
    row["slope"] = float(np.polyfit(solution.merit, nation.merit, 1)[0])
    if animals <= PEER_MOST:
        merit, row["peer"] = timed(lambda: directly(Design([records], pedigree)))
        row["difference"] = float(np.abs(merit - solution.merit).max())
    known, row["reliability"] = timed(lambda: reliability(records, pedigree, TRUTH))
    error = reliability_error(records, pedigree, TRUTH, known, 20)
    row["reliability_error"] = error.root_mean_square
    found, row["reml"] = timed(lambda: estimate_variances(records, pedigree))
    share = found.heritability
    row |= {"reml_rounds": found.iterations, "heritability": f"{share.value:.3f} ± {share.standard_error:.3f}"}
    row["gigabytes"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return row


def directly(design: Design) -> Numbers:
    """The naive peer: fixed, animal and permanent equations written out and given to a sparse direct solver."""
    r, n = len(design), design.animals
    ones, looks = np.ones(r), np.arange(r)
    levels = [sparse.coo_array((ones, (looks, f.column)), shape=(r, design.columns)) for f in design.factors]
    x = sum(levels[1:], levels[0]).tocsr()[:, design.kept[:, 0]]
    z = sparse.coo_array((ones, (looks, design.animal)), shape=(r, n)).tocsr()
    every = sparse.hstack([x, z, z]).tocsr()
    prior = sparse.block_diag(
        [
            sparse.csr_array((x.shape[1], x.shape[1])),
            design.pedigree.inverse * (TRUTH.residual / TRUTH.animal),
            sparse.eye_array(n) * (TRUTH.residual / TRUTH.permanent),
        ]
    )
    matrix = (every.T @ every + prior).tocsc()
    found = linalg.splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    solved: Numbers = found.solve(every.T @ design.value[:, 0])
    return solved[x.shape[1] : x.shape[1] + n]


def table(rows: list[dict[str, Any]]) -> str:
    lines = ["| " + " | ".join(COLUMNS.values()) + " |", "|" + " --- |" * len(COLUMNS)]
    lines += ["| " + " | ".join(said(row.get(name)) for name in COLUMNS) + " |" for row in rows]
    return "\n".join(lines)


def said(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.1e}" if 0 < abs(value) < 0.001 else f"{value:.3f}" if abs(value) < 1.5 else f"{value:.1f}"
    return f"{value:,}" if isinstance(value, int) else str(value)


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="python -m grading.evaluation.benchmark")
    parser.add_argument("what", nargs="?", choices=("sizes", "thresholds"), default="sizes")
    parser.add_argument("--largest", type=int, default=20_000, help="leave out the sizes above this")
    parser.add_argument("--smallest", type=int, default=0, help="and those below this")
    parser.add_argument("--one", nargs=2, type=int, metavar=("ANIMALS", "LOOKS"), help="one size, as JSON")
    chosen = parser.parse_args(arguments)
    if chosen.what == "thresholds":
        sys.stdout.write(report() + "\n")
        return
    if chosen.one:
        sys.stdout.write(json.dumps(measure(*chosen.one)) + "\n")
        return
    rows = []
    for animals in (size for size in SIZES if chosen.smallest <= size <= chosen.largest):
        looks = animals * (5 if animals >= 100_000 else 3)
        command = [sys.executable, "-m", "grading.evaluation.benchmark", "--one", str(animals), str(looks)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=MOST_SECONDS, check=False)
        if done.returncode:
            sys.stderr.write(f"{animals} animals failed:\n{done.stderr}")
            continue
        rows.append(json.loads(done.stdout))
        sys.stderr.write(f"{animals} animals measured: {done.stdout}")  # so that a run cut short is not lost
    sys.stdout.write(table(rows) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
