"""What the year report tells of a breed: as graded, like for like and bred, by year of birth, and how the grading went.

One gathering for the page, the sheet and the paper alike. All figures are those that the last good run kept of the
very looks it read (grading/running/years.py), so every table of a report is of one footing and one day.
"""

from dataclasses import dataclass, field

from grading import twoway
from grading.figures import WITHIN, percent, signed
from grading.models import EvaluationRun, RunState, TraitEvaluation
from grading.running.warnings import sentences
from grading.year_verdict import Line, Verdict, verdict
from herds.words import count_words

LEADING = ("surface", "undercolor")


@dataclass(frozen=True)
class Mean:
    """A mean in steps with its 95 % interval, None where there is none."""

    value: float
    low: float | None = None
    high: float | None = None

    signed: bool = False  # a departure and no place on the scale

    @property
    def text(self):
        return self._said(self.value)

    def _said(self, value):
        return signed(value, 1) if self.signed else f"{value:.1f}"

    @property
    def words(self):
        """'5.1 ± 0.2': the value and half its interval."""
        return self.text if self.low is None or self.high is None else f"{self.text} ± {(self.high - self.low) / 2:.1f}"


@dataclass(frozen=True)
class YearRow:
    """Animals born in one year, for one trait; `held` says why the figures are held back, and then there are none."""

    year: int
    animals: int
    looks: int
    herds: int
    graders: int
    held: str = ""
    raw: Mean | None = None
    like: Mean | None = None
    bred: Mean | None = None

    @property
    def means(self):
        return (self.raw, self.like, self.bred)


@dataclass(frozen=True)
class GradingYear:
    """How the looks of one calendar year depart from all looks, in steps, by who gave them and when."""

    year: int
    looks: int
    change: Mean


@dataclass(frozen=True)
class TraitReport:
    """One trait: its rows by birth year, its years of grading, the three lines and what follows from them."""

    evaluation: TraitEvaluation
    rows: list
    grading_rows: list
    graded: Line | None
    bred: Line | None
    grading: Line | None
    verdict: Verdict
    kept: bool  # whether the run kept figures by year at all

    @property
    def trait(self):
        return self.evaluation.trait


@dataclass(frozen=True)
class Share:
    """A grader's looks, share of all looks (0 to 1), first and last year, and leaning by trait summary."""

    grader: int
    looks: int
    share: float
    first: int
    last: int
    leans: dict = field(default_factory=dict)

    @property
    def percent(self):
        """'22 %', 'under 1 %'."""
        return f"under {percent(0.01)}" if self.share < 0.01 else percent(self.share)


@dataclass(frozen=True)
class YearReport:
    """The whole report. `surface` and `undercolor` are TraitReports, shown together or not at all."""

    breed: object
    run: EvaluationRun
    surface: TraitReport | None
    undercolor: TraitReport | None
    others: list
    shares: list
    genetic: tuple | None

    @property
    def leading(self):
        both = (self.surface, self.undercolor)
        return list(both) if None not in both else []

    @property
    def traits(self):
        return [*self.leading, *self.others]

    @property
    def is_kept(self):
        return any(each.kept for each in self.traits)


def gather(breed, club):
    """The YearReport of a breed's last good run; None before there is one. Two queries."""
    rows = list(TraitEvaluation.objects.filter(run__in=_last_runs(breed)).select_related("trait", "run"))
    newest: dict = {}
    for row in sorted(rows, key=lambda each: (each.run.ended_at, each.pk)):
        if row.trait_id not in newest or not row.refused:
            newest[row.trait_id] = row
    if not newest:
        return None
    traits = [trait_report(row, club) for row in sorted(newest.values(), key=_place)]
    by_summary = {each.trait.summary: each for each in traits if each.trait.summary in LEADING}
    pair = [by_summary.get(name) for name in LEADING]
    if None in pair:  # a surface shade is never shown without the undercolor
        pair = [None, None]
    leading = pair if None not in pair else []
    return YearReport(
        breed=breed,
        run=max((each.evaluation.run for each in traits), key=lambda run: run.ended_at),
        surface=pair[0],
        undercolor=pair[1],
        others=[each for each in traits if each not in leading and each.trait.summary not in LEADING],
        shares=shares(leading or traits[:1]),
        genetic=_genetic(traits),
    )


def _last_runs(breed):
    """The last good run over all traits, and the good runs over single traits since."""
    done = EvaluationRun.objects.filter(breed=breed, state=RunState.DONE)
    whole = done.filter(only=None).order_by("-ended_at", "-pk").first()
    return done if whole is None else done.filter(ended_at__gte=whole.ended_at)


def _genetic(traits):
    """(value, low, high) of the genetic correlation of surface shade and undercolor; None where none is known."""
    runs = sorted({each.evaluation.run for each in traits}, key=lambda run: run.ended_at, reverse=True)
    known = [run.together["genetic"] for run in runs if (run.together or {}).get("genetic")]
    known = [each for each in known if each.get("value") is not None]
    return tuple(known[0][name] for name in ("value", "low", "high")) if known else None


def bred_by_year(breed_id):
    """{year: {"surface": Mean, "undercolor": Mean}} of what is bred, where both are known. One query."""
    rows = TraitEvaluation.objects.current(breed_id).filter(trait__summary__in=LEADING).select_related("trait")
    by_summary = {row.trait.summary: bred_means(row) for row in rows}
    if len(by_summary) < len(LEADING):
        return {}
    both = set.intersection(*(set(each) for each in by_summary.values()))
    return {year: {name: by_summary[name][year] for name in LEADING} for year in sorted(both)}


def _place(evaluation):
    return (evaluation.trait.section, evaluation.trait.position)


def trait_report(evaluation, club):
    """The TraitReport of one evaluation, with or without figures by year."""
    trend = evaluation.trend or {}
    graded, bred, grading = line_of(trend.get("raw")), line_of(trend), line_of(trend.get("grading"))
    variance, error = (kept.get("animal") for kept in (evaluation.variances, evaluation.errors))
    inherited = bool(variance) and (error is None or variance > error)
    graders = evaluation.connections.get("graders") or {}
    apart = graders.get("number", sum(len(part) for part in graders.get("apart", [])))
    share = graders.get("share", 1.0 if apart else 0.0)  # runs of before kept none
    told = bool((trend.get("grading") or {}).get("told", True))
    return TraitReport(
        evaluation=evaluation,
        rows=year_rows(evaluation, club),
        grading_rows=grading_rows(trend.get("grading") or {}),
        graded=graded,
        bred=bred,
        grading=grading,
        verdict=verdict(bred, grading, graded, apart=apart, share=share, told=told, inherited=inherited),
        kept=bool((trend.get("raw") or {}).get("years")),
    )


def line_of(kept):
    """The Line that a run kept of some yearly means; None without years."""
    years = (kept or {}).get("years") or []
    if not years:
        return None
    return Line(years[0], years[-1], len(years), kept.get("slope"), kept.get("low"), kept.get("high"))


def year_rows(evaluation, club):
    """YearRows in order of year; a year of too few animals or herds says so instead of its figures."""
    trend, rows = evaluation.trend or {}, []
    raw = trend.get("raw") or {}
    like, bred = _by_year(trend.get("like") or {}), bred_means(evaluation)
    for at, year in enumerate(raw.get("years", [])):
        counts = {name: raw[name][at] for name in ("animals", "looks", "herds", "graders")}
        held = twoway.held_back(counts["animals"], counts["herds"], club)
        means = {} if held else {"raw": _by_year(raw).get(year), "like": like.get(year), "bred": bred.get(year)}
        rows.append(YearRow(year=year, **counts, held=held, **means))
    return rows


def _by_year(kept):
    """{year: Mean} of means of animals, the interval from their scatter."""
    found = {}
    for at, year in enumerate(kept.get("years", [])):
        value, sd, n = kept["means"][at], kept["sds"][at], kept["animals"][at]
        if value is not None:
            found[year] = _about(value, None if sd is None else sd / n**0.5)
    return found


def bred_means(evaluation):
    """{year: Mean}: the club's average look at animals of these merits, so that it stands on the scale of steps."""
    trend = evaluation.trend or {}
    if evaluation.base is None or not trend.get("years"):
        return {}
    years, means, base = trend["years"], trend["means"], trend.get("base", evaluation.base)
    errors = trend.get("about_errors") or [None] * len(years)
    return {
        year: _about(base + mean, error)
        for year, mean, error in zip(years, means, errors, strict=True)
        if mean is not None
    }


def _about(value, error, signed=False):
    low, high = (None, None) if error is None else (value - WITHIN * error, value + WITHIN * error)
    return Mean(value, low, high, signed)


def grading_rows(kept):
    """GradingYears of what a run kept, none where the years of grading cannot be told."""
    if not kept.get("told", True):
        return []
    columns = (kept.get(name, []) for name in ("years", "looks", "means", "errors"))
    return [
        GradingYear(year, looks, _about(mean, error, True)) for year, looks, mean, error in zip(*columns, strict=True)
    ]


def shares(traits):
    """Shares of the looks that tell the first of some traits, largest first, with the leanings in each of them."""
    table = traits[0].evaluation.fixed.get("grader and year", {}) if traits else {}
    by_grader: dict = {}
    for key, (_steps, looks) in table.items():
        who, _, year = key.partition(":")
        by_grader.setdefault(int(who), {})[int(year)] = looks
    total = sum(sum(years.values()) for years in by_grader.values())
    found = []
    for who, years in by_grader.items():
        looks = sum(years.values())
        leans = {each.trait.summary: lean for each in traits if (lean := _lean(each.evaluation, who))}
        found.append(Share(who, looks, looks / total, min(years), max(years), leans))
    return sorted(found, key=lambda each: (-each.looks, each.grader))


def _lean(evaluation, who):
    value, error, _looks = ((evaluation.trend or {}).get("leans") or {}).get(str(who), (None, None, 0))
    return None if value is None else _about(value, error, True)


def points_of(report, basis):
    """[{year, surface, undercolor}] in steps of the years that may be shown, for a path; basis raw, like or bred."""
    if not report.leading:
        return []
    under = {row.year: getattr(row, basis) for row in report.undercolor.rows}
    return [
        {"year": row.year, "surface": mean.value, "undercolor": under[row.year].value}
        for row in report.surface.rows
        if (mean := getattr(row, basis)) and under.get(row.year)
    ]


def to_be_said(report, names):
    """{trait key: sentences} beside each trait's figures; grader names where `names` has them."""
    return {each.trait.pk: sentences(each.evaluation, names) for each in report.traits}


def state_words(breed):
    """Where the breed's evaluation stands, while none is done: a sentence, never empty. One query."""
    run = EvaluationRun.objects.filter(breed=breed).order_by("-asked_at", "-pk").first()
    if run is None:
        return "No evaluation has run yet. Officers start it on the page 'Evaluations'; the night does so too."
    if run.state == RunState.QUEUED:
        return "The first evaluation waits its turn. It takes a few minutes; the page will show what it finds."
    if run.state == RunState.RUNNING:
        return (
            f"The first evaluation is running, {percent(run.done_share)} of it done. The page will show what it finds."
        )
    if run.state == RunState.FAILED:
        return f"The evaluation found nothing to stand on. {run.problem}"
    return "The evaluation was stopped before its end. Officers start it again on the page 'Evaluations'."


def counts_words(run):
    """'3,094 looks at 873 animals of 9 herds by 12 graders', as far as the run counted."""
    counts = run.counts or {}
    looks, animals, herds, graders = (counts.get(name) for name in ("looks", "animals", "herds", "graders"))
    said = count_words(looks, "look") if looks is not None else "looks"
    said += f", {count_words(animals, 'animal')} in the pedigree" if animals is not None else ""
    said += f", {count_words(herds, 'herd')}" if herds is not None else ""
    return said + (f", {count_words(graders, 'grader')}" if graders is not None else "")
