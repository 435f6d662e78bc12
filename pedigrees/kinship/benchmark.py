"""Times the package beside slower ways of the same answer, in one run: `python -m pedigrees.kinship.benchmark`.

Peers: the dense tabular method where its table fits, and plain Python recursion. Where numba is installed, four loops
compiled by it are timed as well (benchmark_compiled.py), as a yardstick; the package itself has no need of it.
"""

import argparse
import importlib
import importlib.util
import multiprocessing
import resource
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from . import coancestry, inbreeding, litter_inbreeding, relationship_inverse
from .pedigree import Numbers, Rows

LARGEST_TABLE = 10_000
LARGEST_RECURSION = 100_000


def simulated_registry(
    animals: int, generations: int = 25, litters_a_buck: int = 10, litters_a_doe: int = 2, *, seed: int = 1
) -> tuple[Rows, Rows]:
    """Parents of `animals` in `generations`, about six kits a litter, seeded; shape (n,) each, parents stand first.

    Sire and dam are of the generation before; who is chosen and how often is left to chance.
    """
    rng = np.random.default_rng(seed)
    per = animals // generations
    sire = np.full(animals, -1, dtype=np.int64)
    dam = sire.copy()
    buck = rng.random(animals) < 0.5
    for generation in range(1, generations):
        start, end = generation * per, (generation + 1) * per if generation < generations - 1 else animals
        pool = np.arange((generation - 1) * per, generation * per)
        litters = max(1, (end - start) // 6)
        sires = rng.choice(pool[buck[pool]], max(1, litters // litters_a_buck), replace=False)
        dams = rng.choice(pool[~buck[pool]], max(1, litters // litters_a_doe), replace=False)
        of = rng.integers(litters, size=end - start)
        sire[start:end] = rng.choice(sires, litters)[of]
        dam[start:end] = np.resize(rng.permutation(dams), litters)[of]
    return sire, dam


def tabular(sire: Rows, dam: Rows) -> Numbers:
    """Inbreeding from the whole table of relationships; parents stand first."""
    n = len(sire)
    table = np.zeros((n + 1, n + 1))
    for i in range(n):
        table[i, :i] = table[:i, i] = (table[sire[i], :i] + table[dam[i], :i]) / 2
        table[i, i] = 1 + table[sire[i], dam[i]] / 2
    return np.asarray(table.diagonal()[:-1] - 1)


def recursion(sire: Rows, dam: Rows) -> Numbers:
    """Inbreeding by plain Python recursion over pairs, each remembered; parents stand first."""
    sires, dams = sire.tolist(), dam.tolist()
    known: dict[tuple[int, int], float] = {}

    def kinship(a: int, b: int) -> float:
        if a < 0 or b < 0:
            return 0.0
        if a < b:
            a, b = b, a
        if (a, b) not in known:
            if a == b:
                known[a, b] = 0.5 + kinship(sires[a], dams[a]) / 2
            else:
                known[a, b] = (kinship(sires[a], b) + kinship(dams[a], b)) / 2
        return known[a, b]

    limit = sys.getrecursionlimit()
    sys.setrecursionlimit(100_000)
    try:
        return np.array([kinship(s, d) for s, d in zip(sires, dams, strict=True)])
    finally:
        sys.setrecursionlimit(limit)


def nine_litters(sire: Rows, dam: Rows, f: Numbers) -> Numbers:
    """The inbreeding of nine of the youngest litters, each worked out by itself."""
    kits = range(len(sire) - 9, len(sire))
    return np.array([litter_inbreeding(sire, dam, f, int(sire[kit]), int(dam[kit])) for kit in kits])


def thousand_pairs(sire: Rows, dam: Rows, f: Numbers) -> Numbers:
    """The coancestry of a thousand pairs of the youngest twentieth."""
    pairs = np.random.default_rng(2).integers(len(sire) - len(sire) // 20, len(sire), size=(2, 1_000))
    return coancestry(sire, dam, pairs[0], pairs[1], inbreeding=f)


def compiled_by_numba(name: str) -> Callable[..., Any]:
    return getattr(importlib.import_module(".benchmark_compiled", __package__), name)  # type: ignore[no-any-return]


F, INVERSE = "inbreeding", "inverse"
# what, how, the most animals it is tried with, whether it takes inbreeding, how many answers the time is divided by
METHODS: dict[tuple[str, str], tuple[Callable[..., Any] | str, int, bool, int]] = {
    (F, "this package"): (inbreeding, 10**9, False, 1),
    (F, "whole table, NumPy"): (tabular, LARGEST_TABLE, False, 1),
    (F, "recursion, Python"): (recursion, LARGEST_RECURSION, False, 1),
    (F, "compiled: climb from each litter"): ("climb_each_litter", 10**9, False, 1),
    (F, "compiled: follow the bucks"): ("follow_bucks", 10**9, False, 1),
    (F, "compiled: table of living parents"): ("table_of_living", 10**9, False, 1),
    (INVERSE, "this package"): (relationship_inverse, 10**9, True, 1),
    (INVERSE, "compiled: Henderson's rules"): ("inverse_by_columns", 10**9, True, 1),
    ("one new litter", "this package"): (nine_litters, 10**9, True, 9),
    ("1,000 pairs", "this package"): (thousand_pairs, 10**9, True, 1),
}


def measured(
    what: str, how: str, animals: int, generations: int, litters_a_buck: int, litters_a_doe: int
) -> tuple[float, float, float, Any]:
    """Seconds by the clock and of all cores, peak memory in GB, and the answer; meant for a process of its own."""
    method, _, takes_inbreeding, answers = METHODS[what, how]
    if isinstance(method, str):
        method = compiled_by_numba(method)
        small = simulated_registry(200, 4)
        method(*small, *[inbreeding(*small)] * takes_inbreeding)  # compiles it
    registry = simulated_registry(animals, generations, litters_a_buck, litters_a_doe)
    given = [*registry, *[inbreeding(*registry)] * takes_inbreeding]
    start, start_of_cores = time.perf_counter(), time.process_time()
    found = method(*given)
    cores, seconds = (time.process_time() - start_of_cores) / answers, (time.perf_counter() - start) / answers
    return seconds, cores, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20, found


def difference(one: Any, other: Any) -> float:
    """Largest difference between two answers to the same question."""
    apart = abs(one - other)
    return float(apart.max()) if apart.shape[0] else 0.0


def main(arguments: list[str] | None = None) -> None:
    """Print the table, each line measured in a fresh process, so that peak memory is its own.

    On a machine that others use as well, core seconds tell more than seconds.
    """
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--animals", type=int, nargs="+", default=[1_000, 10_000, 100_000, 1_000_000])
    parser.add_argument("--generations", type=int, default=25)
    parser.add_argument("--litters-a-buck", type=int, default=10)
    parser.add_argument("--litters-a-doe", type=int, default=2)
    given = parser.parse_args(arguments)
    if given.generations < 2 or min(given.animals) < 10 * given.generations:
        parser.error("A registry needs two generations or more, of ten animals or more.")
    numba = importlib.util.find_spec("numba") is not None
    say = sys.stdout.write
    say("| animals | what | how | seconds | core seconds | peak GB | differs by |\n")
    say("| ---: | --- | --- | ---: | ---: | ---: | ---: |\n")
    for animals in given.animals:
        ours: dict[str, Any] = {}
        for (what, how), (method, most, _, _) in METHODS.items():
            if animals > most or (isinstance(method, str) and not numba):
                continue
            question = (what, how, animals, given.generations, given.litters_a_buck, given.litters_a_doe)
            with multiprocessing.get_context("spawn").Pool(1) as process:
                seconds, cores, memory, found = process.apply(measured, question)
            apart = difference(ours.setdefault(what, found), found)
            if apart > 1e-9:
                raise SystemExit(f"{how} and this package differ by {apart} on {what} of {animals} animals.")
            told = f"{apart:.0e}" if how != "this package" else ""
            say(f"| {animals:,} | {what} | {how} | {seconds:.3f} | {cores:.3f} | {memory:.2f} | {told} |\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
