"""The year report on paper: its words as plain data for the typesetter, graders counted and never named."""

from pathlib import Path

from django.utils import timezone

from grading import year_tables
from grading.evaluation_words import genetic_words, heritability_words
from grading.running.warnings import sentences
from herds.words import day_words
from pedigrees.paper import printed

FORMS = Path(__file__).parent / "paper"
FONT = 'font-family="Libertinus Serif"'


def report_pdf(report, club, day, *, paper="a4"):
    """The PDF of a YearReport; the same report and day give the same bytes."""
    return printed("year_report", report_data(report, club, day), paper=paper, forms=FORMS)


def report_data(report, club, day):
    """Everything on the paper as words, lists and SVG text."""
    run, goal = report.run, year_tables.goal_now(report.breed, day)
    return {
        "club": club.name,
        "invented": club.is_demo,
        "breed": str(report.breed),
        "day": day_words(day),
        "evaluated": day_words(timezone.localtime(run.ended_at).date()),
        "method": run.method,
        "counts": [[name.capitalize(), f"{count:,}"] for name, count in (run.counts or {}).items()],
        "leading": [trait_words(each) for each in report.leading],
        "genetic": genetic_words(report.genetic),
        "charts": [
            {"title": each["title"], "svg": for_paper(each["svg"]), "note": each["note"]}
            for each in year_tables.panels(report, goal)
        ],
        "bases": list(year_tables.BASES.values()),
        "rows": year_tables.leading_rows(report),
        "grading": [[str(cell) for cell in row] for row in year_tables.grading_rows(report)],
        "shares": year_tables.share_words(report),
        "others": [
            {
                "name": str(each["trait"]),
                "counts": f"{each['looks']:,} looks, {each['animals']:,} animals",
                "short": each["refused"] or each["verdict"].short,
                "long": "" if each["refused"] else " ".join(each["verdict"].long),
                "years": [[str(cell) for cell in row] for row in each["years"]],
            }
            for each in year_tables.other_rows(report)
        ],
        "warnings": warnings_of(report),
        "how": list(year_tables.HOW_TO_READ),
    }


def trait_words(each):
    refused = each.evaluation.refused
    return {
        "name": str(each.trait),
        "counts": f"{each.evaluation.looks:,} looks at {each.evaluation.animals:,} animals of "
        f"{each.evaluation.herds:,} herds by {each.evaluation.graders:,} graders",
        "short": refused or each.verdict.short,
        "long": "" if refused else " ".join(each.verdict.long),
        "heritability": heritability_words(each.evaluation),
    }


def warnings_of(report):
    """What has to be said beside the figures, each once, with the traits it is said of; counts stand elsewhere."""
    found: dict = {}
    for each in report.traits:
        for sentence in sentences(each.evaluation, {}):
            if not sentence.endswith(" left out."):
                found.setdefault(sentence, []).append(str(each.trait))
    for sentence in [*(report.run.warnings or []), *(report.run.together or {}).get("warnings", [])]:
        if not sentence.endswith(" left out."):
            found.setdefault(sentence, [])
    return [
        {"sentence": sentence, "of": "" if len(names) in (0, len(report.traits)) else ", ".join(names)}
        for sentence, names in found.items()
    ]


def for_paper(svg):
    """The chart's SVG in the font that the typesetter has."""
    return str(svg).replace('font-family="system-ui, sans-serif"', FONT)
