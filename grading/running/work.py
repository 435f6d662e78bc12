"""One trait, and surface shade with undercolor, from arrays to everything that a run keeps of them."""

from dataclasses import dataclass, field

import numpy as np

from grading import evaluation as model
from grading.running import years

METHOD = "repeatability animal model, 3"
FEWEST_LOOKS = 20
MOST_FOR_TREND = 20_000  # animals up to which every trait gets the errors of its yearly means; above only the leading
FEWEST_SHARED_LITTERS = 50
MOST_GROUPS_NAMED = 12


@dataclass
class Found:
    """What was found of one trait; `merit` and `reliability` (n,) by row of the pedigree, None where refused."""

    counts: dict
    refused: str = ""
    merit: np.ndarray | None = None
    reliability: np.ndarray | None = None
    kept: dict = field(default_factory=dict)


def evaluate_trait(looks, value, *, leading, progress):
    """Found for a trait's values (r,). `progress(round, covariances)` may raise to stop the run."""
    told = ~np.isnan(value)
    found = Found(counts_of(looks, told))
    if told.sum() < FEWEST_LOOKS:
        found.refused = f"Only {int(told.sum())} looks tell this trait; under {FEWEST_LOOKS} nothing can be estimated."
        found.kept = {"trend": years.graded(looks, value, told)}
        return found
    records = looks.records(value)
    try:
        _evaluate(found, looks, records, leading, progress)
    except model.EvaluationError as refusal:
        found.refused = str(refusal)
        found.kept, found.merit, found.reliability = {"trend": years.graded(looks, value, told)}, None, None
    return found


def _evaluate(found, looks, records, leading, progress):
    estimate = model.estimate_variances(
        records, looks.pedigree, litter=shares_litters(looks, records), progress=progress
    )
    solution = model.solve(records, looks.pedigree, estimate.variances)
    found.merit = solution.merit
    found.reliability = np.clip(model.reliability(records, looks.pedigree, estimate.variances), 0, 1 - 1e-9)
    warnings = [*estimate.warnings, *(said for said in solution.warnings if said not in estimate.warnings)]
    among = leading or len(looks.pedigree) <= MOST_FOR_TREND
    average = years.averaged(looks, records, estimate, solution.fixed) if among else None
    trend, said = trend_of(looks, records, solution, average)
    connections, apart = connections_of(looks, records)
    told = ~np.isnan(records.value)
    trend |= years.graded(looks, records.value, told)
    if among:
        trend |= years.grading(looks, records, average)
    fixed = fixed_of(looks, solution.fixed, told)
    found.kept = {
        "mean": float(records.value[told].mean()),
        "base": base_of(records, solution, told),
        "variances": variances_of(estimate.variances),
        "errors": variances_of(estimate.standard_errors),
        "heritability": estimate.heritability.value,
        "heritability_low": estimate.heritability.low,
        "heritability_high": estimate.heritability.high,
        "repeatability": estimate.repeatability.value,
        "converged": bool(estimate.converged and solution.converged),
        "rounds": int(estimate.iterations),
        "reliability_is_exact": len(looks.pedigree) <= 5_000,
        "fixed": fixed,
        "trend": trend,
        "connections": connections | {"untold": untold(looks, warnings)},
        "warnings": [*plain(warnings), *said, *apart],
    }


def untold(looks, warnings):
    """[{"effect", "levels": [keys], "trait": 0 or 1}] of the warnings about levels; storing says them in words.

    One half of each year is left out: it is told from the graders' years by nothing, which is as it should be.
    """
    found = []
    for each in warnings:
        if isinstance(each, model.AboutLevels):
            keys = [looks.levels[each.effect].get(code, str(code)) for code in each.codes]
            if each.effect == "half-year" and len({key.partition(":")[0] for key in keys}) == len(keys):
                continue
            found.append({"effect": each.effect, "levels": keys, "trait": each.trait})
    return found


def plain(warnings):
    return [each for each in warnings if not isinstance(each, model.AboutLevels)]


def counts_of(looks, told):
    return {
        "looks": int(told.sum()),
        "animals": len(np.unique(looks.animal[told])),
        "graders": len(np.unique(looks.observer[told])),
        "herds": len(np.unique(looks.herd[told & (looks.herd >= 0)])),
    }


def shares_litters(looks, records):
    """Whether enough litters have two graded kits or more for what litters share to be told from heredity."""
    graded = np.unique(records.animal[~np.isnan(records.value)])
    litters = looks.litter[graded]
    return (
        int((np.bincount(litters[litters >= 0]) >= 2).sum()) >= FEWEST_SHARED_LITTERS if (litters >= 0).any() else False
    )


def variances_of(given):
    return {name: float(getattr(given, name)) for name in ("animal", "permanent", "litter", "residual")}


def base_of(records, solution, told):
    """The step of an animal of merit 0 in the conditions of an average look: the mean less what merits add to it."""
    rest = records.value[told] - solution.merit[records.animal[told]] - solution.permanent[records.animal[told]]
    return float(rest.mean())


def fixed_of(looks, tables, told):
    """{effect: {level key: [steps from the average look, looks]}} for every level that was seen."""
    found = {}
    for name, table in tables.items():
        codes = looks.fixed[name][told]
        average = float(np.asarray(table)[codes].mean())
        level, count = np.unique(codes, return_counts=True)
        found[name] = {
            looks.levels[name].get(int(code), str(code)): [float(table[code]) - average, int(seen)]
            for code, seen in zip(level, count, strict=True)
        }
    return found


def trend_of(looks, records, solution, average):
    """The genetic trend of graded animals by birth year, and its warnings; {} where there is none.

    average : from years.averaged, so that what the variances leave open is in means, line and errors; None gives the
    solution's means with the scatter of the merits only, which a warning says.
    """
    told = ~np.isnan(records.value)
    graded = np.unique(records.animal[told])
    born = np.full(len(looks.pedigree), -1)
    born[graded] = looks.born[graded]
    if not (born >= 0).any():
        return {}, ["No graded animal has a known year of birth, so there is no trend to give."]
    if average is None:
        error, trend = None, model.trend(solution.merit, born)
    else:
        error = average.of_groups.covariance
        trend = model.trend(average.merit, born, error)
    share = trend.count / trend.count.sum()
    about = np.eye(len(share)) - share  # each year's departure from all animals' mean
    slope_error = trend.slope_error if np.isfinite(trend.slope_error) else None
    low, high = trend.interval if slope_error is not None else (None, None)
    if average is not None and slope_error is not None:
        low, high = average.of_groups.interval(years.along(trend.year, trend.count))
    return {
        "base": base_of(records, solution if average is None else average, told),
        "years": trend.year.tolist(),
        "counts": trend.count.tolist(),
        "means": trend.mean.tolist(),
        "errors": trend.standard_error.tolist(),
        "about_errors": None if error is None else np.sqrt(np.maximum(np.diag(about @ error @ about.T), 0)).tolist(),
        "slope": trend.slope,
        "slope_error": slope_error,
        "low": low,
        "high": high,
        "full_errors": trend.from_prediction_errors,
    }, list(trend.warnings)


def connections_of(looks, records):
    """How graders, and herds, hang together, and sentences.

    {"graders": {"count": n, "apart": [[keys]] of a few, "number": of all that stand apart, "share": of looks theirs},
    "herds": ...}
    """
    found, said = {}, []
    for word, group in (("graders", looks.observer), ("herds", looks.herd)):
        given = group + 1 if word == "herds" else group
        met = model.connectedness(records, looks.pedigree, given)
        keys = met.group - 1 if word == "herds" else met.group
        looked_at = np.bincount(met.part, weights=met.looks)
        parts = [keys[met.part == part].tolist() for part in np.argsort(-looked_at, kind="stable")]
        few = sum(len(part) for part in parts[1:])
        found[word] = {
            "count": len(keys),
            "apart": [part[:MOST_GROUPS_NAMED] for part in parts[1:]][:MOST_GROUPS_NAMED],
            "number": few,
            "share": float(1 - looked_at.max(initial=0) / max(looked_at.sum(), 1)),
        }
        if len(parts) > 1:
            said.append(
                f"{few} of {len(keys)} {word} cannot be compared with the others: no animal, relative or other look "
                "joins them. A difference between them may be theirs or the animals'."
            )
        elif len(keys) == 1:
            said.append(f"All looks come from one of the {word}: what it adds cannot be told from the animals.")
    return found, said


def evaluate_together(looks, first, second, progress):
    """Surface shade and undercolor as a pair: covariances and correlations, or {"refused": sentence}."""
    if min((~np.isnan(first)).sum(), (~np.isnan(second)).sum()) < FEWEST_LOOKS:
        return {"refused": "Too few looks tell both surface shade and undercolor."}, None
    one, other = looks.records(first), looks.records(second)
    try:
        estimate = model.estimate_covariances(one, other, looks.pedigree, progress=progress)
        solution = model.solve_pair(one, other, looks.pedigree, estimate.covariances)
    except model.EvaluationError as refusal:
        return {"refused": str(refusal)}, None
    warnings = list(dict.fromkeys([*estimate.warnings, *solution.warnings]))
    return {
        "looks": int(estimate.looks),
        "covariances": {
            name: np.asarray(getattr(estimate.covariances, name)).tolist()
            for name in ("animal", "permanent", "litter", "residual")
        },
        "genetic": ratio_of(estimate.animal_correlation),
        "permanent": ratio_of(estimate.permanent_correlation),
        "residual": ratio_of(estimate.residual_correlation),
        "converged": bool(estimate.converged and solution.converged),
        "untold": untold(looks, warnings),
        "warnings": plain(warnings),
    }, solution.merit


def ratio_of(given):
    if given is None:
        return None
    return {"value": given.value, "error": given.standard_error, "low": given.low, "high": given.high}
