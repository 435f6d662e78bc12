"""Times the package beside slower ways of the same answer, in one run: `python -m pedigrees.kinship.benchmark`.

Peers: the dense tabular method where its table fits, and plain Python recursion. The yardstick of a kernel compiled
by numba is timed too when numba is there; it is no requirement.
"""

import argparse
import resource
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from . import coancestry, inbreeding, litter_inbreeding, relationship_inverse
from .pedigree import Numbers, Rows

LARGEST_TABLE = 5_000
LARGEST_RECURSION = 20_000


def simulated_registry(animals: int, generations: int = 25, *, seed: int = 1) -> tuple[Rows, Rows]:
    """Parents of `animals` in `generations`, about six kits a litter, one buck to five does, seeded; shape (n,) each.

    Half of a generation's parents stand for the next; sire and dam are of the generation before.
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
        sires = rng.choice(pool[buck[pool]], max(1, litters // 10), replace=False)
        dams = rng.choice(pool[~buck[pool]], max(1, litters // 2), replace=False)
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


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds by the wall clock, and what came out."""
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found


def main(arguments: list[str] | None = None) -> None:
    """Print the table; the largest size last, since peak memory only rises."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--animals", type=int, nargs="+", default=[1_000, 10_000, 100_000, 1_000_000])
    parser.add_argument("--generations", type=int, default=25)
    given = parser.parse_args(arguments)
    say = sys.stdout.write
    say(
        "| animals | inbreeding s | inverse s | one new litter ms | 1,000 pairs s | table s | recursion s | peak GB |\n"
    )
    say("| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n")
    for animals in sorted(given.animals):
        sire, dam = simulated_registry(animals, given.generations)
        seconds, f = timed(lambda sire=sire, dam=dam: inbreeding(sire, dam))  # type: ignore[misc]
        inverse, _ = timed(lambda sire=sire, dam=dam, f=f: relationship_inverse(sire, dam, f))  # type: ignore[misc]
        kits = range(animals - 9, animals)
        litters = [timed(lambda k=k, a=sire, b=dam, f=f: litter_inbreeding(a, b, f, a[k], b[k]))[0] for k in kits]  # type: ignore[misc]
        rng = np.random.default_rng(2)
        one, other = rng.integers(animals - animals // given.generations, animals, size=(2, 1_000))
        pairs, _ = timed(lambda a=sire, b=dam, i=one, j=other, f=f: coancestry(a, b, i, j, inbreeding=f))  # type: ignore[misc]
        peers = []
        for peer, largest in ((tabular, LARGEST_TABLE), (recursion, LARGEST_RECURSION)):
            if animals <= largest:
                taken, theirs = timed(lambda peer=peer, a=sire, b=dam: peer(a, b))  # type: ignore[misc]
                if not np.allclose(theirs, f, rtol=0, atol=1e-12):
                    raise SystemExit(f"{peer.__name__} and inbreeding() differ at {animals} animals.")
                peers.append(f"{taken:.2f}")
            else:
                peers.append("-")
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        say(
            f"| {animals:,} | {seconds:.2f} | {inverse:.2f} | {1000 * float(np.median(litters)):.1f} | {pairs:.2f} "
            f"| {' | '.join(peers)} | {memory:.2f} |\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
