"""The published worked examples as records and pedigrees; the source of each stands in the fixture."""

import json
from pathlib import Path

import numpy as np

from grading.evaluation import Pedigree, Records, Variances

PUBLISHED = json.loads((Path(__file__).parents[2] / "fixtures" / "published" / "evaluation.json").read_text())
CHECKS = {check["id"]: check for check in PUBLISHED["checks"]}


def case(name):
    """What is given, what must come out, and how closely."""
    check = CHECKS[name]
    return check["given"], check["expect"], check["tolerance"]


def pedigree_of(lines):
    """Row of each name, and the pedigree, of [animal, sire, dam, ...]."""
    row = {line[0]: number for number, line in enumerate(lines)} | {None: -1}
    return row, Pedigree(np.array([row[line[1]] for line in lines]), np.array([row[line[2]] for line in lines]))


def coded(names):
    """Codes of names in sorted order, and the order."""
    order = sorted(set(names))
    return np.array([order.index(name) for name in names]), order


def animal_model():
    given, _, _ = case("animal-model")
    row, pedigree = pedigree_of(given["pedigree"])
    animal, sex, value = zip(*given["records"], strict=True)
    records = Records(np.array([row[name] for name in animal]), np.array(value), {"sex": coded(sex)[0]})
    return records, pedigree, Variances(given["additive"], 0, given["residual"])


def repeated_records():
    given, _, _ = case("repeated-records")
    row, pedigree = pedigree_of(given["pedigree"])
    animal, time, group, value = (np.array(column) for column in zip(*given["records"], strict=True))
    records = Records(np.array([row[name] for name in animal]), value, {"time": time, "group": group})
    return records, pedigree, Variances(given["additive"], given["permanent"], given["residual"])


def small_club(*, with_empty=True):
    given, _, _ = case("small-club")
    row, pedigree = pedigree_of(given["pedigree"])
    litter_of = {line[0]: -1 if line[3] is None else line[3] for line in given["pedigree"]}
    looks = [look for look in given["looks"] if with_empty or look[5] is not None]
    records = Records(
        np.array([row[str(look[0])] for look in looks]),
        np.array([np.nan if look[5] is None else look[5] for look in looks]),
        {
            "grader": np.array([look[1] for look in looks]),
            "age class": coded([look[2] for look in looks])[0],
            "coat stage": np.array([int(look[3] == "prime") for look in looks]),
        },
        np.array([litter_of[str(look[0])] for look in looks]),
    )
    size = given["variances"]
    variances = Variances(size["additive"], size["permanent"], size["residual"], size["litter"])
    return records, pedigree, variances, np.array([line[4] for line in given["pedigree"]])
