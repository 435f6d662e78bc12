"""A breed's population figures, worked out once and kept: plain numbers, ready for JSON. Sentences are made later."""

import math
from collections import defaultdict

import numpy as np

from herds.models import Animal
from pedigrees import kinship
from pedigrees.load import Pedigree, PedigreeProblem, by_name, whole_registry

COHORT_YEARS = 3  # the newest birth years together stand for the breed as it is now
GENERATIONS = 6
MOST_NAMED = 20
MOST_ANCESTORS = 400  # looked for; what they leave unexplained bounds the effective number from both sides
NO_YEAR = 0


def figures_of(breed) -> dict:
    """All figures of a breed from the registry as it is now. PedigreeProblem names the animals that forbid it."""
    pedigree = whole_registry()
    rows, born, herd = _cards(breed, pedigree)
    with by_name(pedigree):
        f = kinship.inbreeding(pedigree.sire, pedigree.dam)
        year = np.where(np.isnan(born), NO_YEAR, np.floor(np.nan_to_num(born))).astype(int)
        found = {"animals": len(rows), "years": _by_year(pedigree, rows, year, herd, f)}
        found["without_year"] = int((year == NO_YEAR).sum())
        newest = int(year.max(initial=NO_YEAR))
        cohort = year > max(newest - COHORT_YEARS, NO_YEAR)
        found["cohort"] = {
            "first": newest - COHORT_YEARS + 1,
            "last": newest,
            "animals": int(cohort.sum()),
            "herds": _different(herd[cohort]),
        }
        if cohort.any():
            found |= _of_cohort(pedigree, rows[cohort], f)
        found["interval"] = _interval(pedigree, rows, born)
    return found


def _cards(breed, pedigree: Pedigree):
    """Rows, birth dates as years (NaN: not known) and breeders' herds (-1: not known) of a breed, shape (m,) each."""
    fields = ("pk", "born_on", "bred_in", "breeder_name", "herd")
    cards = list(Animal.objects.filter(breed=breed).order_by("pk").values_list(*fields))
    rows = pedigree.rows_of(card[0] for card in cards)
    there = rows >= 0  # one that was logged since the pedigree was read is left for the next time
    born = np.array([_as_year(card[1]) for card in cards], dtype=float)
    numbers: dict = defaultdict(lambda: len(numbers))
    herd = np.array(
        [numbers[place] if (place := bred or name or stands) else -1 for _, _, bred, name, stands in cards], dtype=int
    )
    return rows[there], born[there], herd[there]


def _as_year(day):
    """3 May 2026 as 2026.34; NaN for no day."""
    return day.year + (day.timetuple().tm_yday - 1) / 365.25 if day else math.nan


def _different(herds):
    return len(np.unique(herds[herds >= 0]))


def _by_year(pedigree, rows, year, herd, f):
    """Inbreeding by birth year, of those animals of which both parents are known."""
    known = (pedigree.sire[rows] >= 0) & (pedigree.dam[rows] >= 0)
    found = []
    for each in np.unique(year[year != NO_YEAR]).tolist():
        born = year == each
        values = f[rows[born & known]]
        row = {
            "year": each,
            "animals": int(born.sum()),
            "herds": _different(herd[born]),
            "known": len(values),
            "known_herds": _different(herd[born & known]),
        }
        if len(values):
            low, high = np.quantile(values, [0.1, 0.9])
            row |= {"mean": float(values.mean()), "sd": float(values.std(ddof=1)) if len(values) > 1 else 0.0}
            row |= {"low": float(low), "high": float(high)}
        found.append(row)
    return found


def _of_cohort(pedigree, cohort, f):
    sire, dam = pedigree.sire, pedigree.dam
    size = kinship.effective_size(sire, dam, cohort, inbreeding=f)
    depth = kinship.equivalent_generations(sire, dam)[cohort]
    together = kinship.mean_coancestry(sire, dam, cohort, inbreeding=f)
    n = len(cohort)
    own = float(((1 + f[cohort]) / 2).sum())
    return {
        "mean_inbreeding": float(f[cohort].mean()),
        "random_mating": (together * n * n - own) / (n * (n - 1)) if n > 1 else None,
        "genomes": _number(kinship.founder_genomes(sire, dam, cohort, inbreeding=f)),
        "size": {
            "size": _number(size.size),
            "error": _number(size.standard_error),
            "counted": size.counted,
            "nobody_inbred": math.isinf(size.size),
        },
        "depth": float(depth.mean()),
        "known": _known_by_generation(sire, dam, cohort),
        "founders": _founders(pedigree, cohort),
        "ancestors": _ancestors(pedigree, cohort),
    }


def _known_by_generation(sire, dam, cohort):
    """The share of the cohort's ancestors that is known, one number a generation: parents first."""
    known, shares = np.append(np.ones(len(sire)), 0.0), []
    for _ in range(GENERATIONS):
        known[:-1] = (known[sire] + known[dam]) / 2
        shares.append(float(known[cohort].mean()))
    return shares


def _founders(pedigree, cohort):
    shares = kinship.founder_contributions(pedigree.sire, pedigree.dam, cohort)
    most = np.argsort(-shares, kind="stable")[:MOST_NAMED]
    half_known = (pedigree.sire >= 0) != (pedigree.dam >= 0)
    top = [
        {"animal": int(pedigree.ids[row]), "share": float(shares[row]), "unknown_parent": bool(half_known[row])}
        for row in most
        if shares[row] > 0
    ]
    return {"count": int((shares > 0).sum()), "effective": _number(1 / float(shares @ shares)), "top": top}


def _ancestors(pedigree, cohort):
    """The ancestors that explain most, and bounds of the effective number, which meet when all of them were found.

    What is left may come in shares as large as the last one found, or in endlessly many small ones.
    """
    found = kinship.ancestor_contributions(pedigree.sire, pedigree.dam, cohort, at_most=MOST_ANCESTORS)
    share = found.share
    squares, left = float(share @ share), max(0.0, 1 - float(share.sum()))
    top = [
        {"animal": int(pedigree.ids[row]), "share": float(part), "unknown_parent": bool(unknown)}
        for row, unknown, part in zip(found.rows[:MOST_NAMED], found.unknown, share, strict=False)
    ]
    half = int(np.searchsorted(np.cumsum(share), 0.5 - 1e-9)) + 1
    return {
        "least": _number(1 / (squares + left * float(share[-1]))),
        "most": _number(1 / squares),
        "for_half": half if half <= len(share) else None,
        "top": top,
    }


def _interval(pedigree, rows, born):
    """The generation interval in years, within the breed; `problem` says why it cannot be told."""
    years = np.full(len(pedigree), np.nan)
    years[rows] = born
    ours = np.zeros(len(pedigree) + 1, dtype=bool)
    ours[rows] = True
    sire, dam = (np.where(ours[:-1] & ours[parent], parent, -1) for parent in (pedigree.sire, pedigree.dam))
    try:
        with by_name(pedigree):
            found = kinship.generation_interval(sire, dam, years)
    except PedigreeProblem as problem:
        return {"problem": str(problem)}
    paths = [_number(getattr(found, path)) for path in ("sire_son", "sire_daughter", "dam_son", "dam_daughter")]
    return {"years": _number(found.interval), "paths": paths, "counted": list(found.counted)}


def _number(value):
    """A number that JSON knows; None for one that is not finite."""
    return float(value) if math.isfinite(value) else None
