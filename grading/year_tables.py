"""The year report as rows, sentences and drawings, for the page, the sheet and the paper; surface with undercolor."""

from grading import charts, twoway, year_report

BASES = {"raw": "As graded", "like": "Like for like", "bred": "Bred"}
NOTES = {
    "raw": "The mean grade of the animals born in a year, whoever graded, at whatever age and in whatever coat.",
    "like": "Each look compared with all the club's looks of the same age class, coat stage and mode. A lenient grader "
    "is not taken out.",
    "bred": "The mean merit of the animals born in a year, on the scale of the club's average look: grader, age, coat, "
    "season and mode are taken out, and relatives speak for each other.",
}
HOW_TO_READ = (
    "'As graded' is what stands on the sheets. It moves when the breed moves, when graders grow lenient or strict, and "
    "when younger or older animals are looked at.",
    "'Like for like' compares only looks of one age class, coat stage and mode. Graders are still in it.",
    "'Bred' is the mean merit of the animals born in a year, put on the scale of the club's average look. It is what "
    "their parents gave them, and the best answer to whether the breed moved.",
    "'The grading' is how the looks of a calendar year depart from all looks when the animals are taken out: graders "
    "growing lenient or strict, other people grading, light and season.",
    "Brackets and ± are 95 % intervals: they hold the truth in 95 cases of 100, if the model is right. Where two "
    "intervals overlap widely, take the years for alike.",
    "The model follows what was chosen by looks. Stock from outside and choices that no look shows it follows badly; "
    "what they moved can be laid to the graders. Take a breed and graders that move at once with care.",
    "How far a trait is inherited is not known for sure, and in a breed that is chosen, what is bred hangs on it. So "
    "'bred' and 'the grading' are averages over all that the looks leave open of it, and their intervals allow for "
    "it; merits elsewhere take the likeliest value.",
    "Where a breed is chosen hard, the intervals are wide and still a little too sure: in 100 made-up clubs with "
    "steady graders the interval of what is bred held the truth in 91, and it said 0.1 steps too little of 1.9 on "
    "average; four clubs were told that the graders moved, all others that it cannot be told.",
    "Something moved when its interval leaves out zero and it went a quarter of a step or more over the years shown; "
    "it held still when the interval stays within half a step. Otherwise it cannot be told, and more looks at the same "
    "animals by several graders are the cure.",
    "Of the variances, animal is what is inherited, permanent what else stays with an animal, litter what kits born "
    "together share, and residual one look alone.",
    "Surface shade runs from 1, nearly black, to 9, nearly white; undercolor from 1, white, to 9, nearly black.",
)
WHEN_HERDS_ARE_FEW = "A year with few animals or herds is counted, and its figures are held back."


def panels(report, goal):
    """The three paths through surface shade and undercolor by birth year, ready for components/chart.html."""
    return paths({basis: year_report.points_of(report, basis) for basis in BASES}, goal)


def paths(points_by, goal):
    """A panel for each basis that has points, dicts `year`, `surface`, `undercolor`; all on the same axes."""
    among = [point for points in points_by.values() for point in points]
    return [
        {
            "title": title,
            "svg": charts.path_by_year(points_by[basis], goal=goal, among=among),
            "columns": ["Born in", "Surface shade", "Undercolor"],
            "rows": [[p["year"], f"{p['surface']:.1f}", f"{p['undercolor']:.1f}"] for p in points_by[basis]],
            "note": NOTES[basis],
        }
        for basis, title in BASES.items()
        if points_by[basis]
    ]


def leading_rows(report):
    """A row for each birth year: counts, and surface with undercolor on each basis, None where there is neither."""
    if not report.leading:
        return []
    under = {row.year: row for row in report.undercolor.rows}
    found = []
    for row in report.surface.rows:
        other = under.get(row.year)
        if other is None:
            continue
        held = row.held or other.held
        pairs = [(None, None)] * 3 if held else list(zip(row.means, other.means, strict=True))
        found.append(
            {
                "year": row.year,
                "animals": max(row.animals, other.animals),
                "herds": max(row.herds, other.herds),
                "graders": max(row.graders, other.graders),
                "held": held,
                "cells": [
                    {"title": title, **coat(surface, undercolor)}
                    for title, (surface, undercolor) in zip(BASES.values(), pairs, strict=True)
                ],
            }
        )
    return found


def coat(surface, undercolor):
    """What components/coat.html takes for two Means, with the intervals beside; empty unless both are known."""
    if surface is None or undercolor is None:
        return {"known": False}
    step = {
        name: max(1, min(9, round(mean.value)))
        for name, mean in zip(year_report.LEADING, (surface, undercolor), strict=True)
    }
    return {
        "known": True,
        **step,
        "surface_text": surface.words,
        "undercolor_text": undercolor.words,
    }


def grading_rows(report):
    """(year, looks, surface, undercolor) in words: how the grading of each calendar year departs from all looks."""
    if not report.leading:
        return []
    under = {row.year: row for row in report.undercolor.grading_rows}
    rows = [row for row in report.surface.grading_rows if row.year in under]
    return [(row.year, row.looks, row.change.words, under[row.year].change.words) for row in rows]


def other_rows(report):
    """A dict for each trait beside the leading two: its verdict, its lines and its years in words."""
    return [
        {
            "trait": each.trait,
            "looks": each.evaluation.looks,
            "animals": each.evaluation.animals,
            "refused": each.evaluation.refused,
            "verdict": each.verdict,
            "years": [
                (
                    row.year,
                    row.animals,
                    row.herds,
                    row.held,
                    *(mean.words if mean else "not known" for mean in row.means),
                )
                for row in each.rows
            ],
        }
        for each in report.others
    ]


def share_words(report):
    """'12 graders gave 3,094 looks. Their shares: 22 %, 11 %, 11 %.' without a name."""
    if not report.shares:
        return ""
    total, many = sum(each.looks for each in report.shares), len(report.shares)
    listed = ", ".join(each.percent for each in report.shares[:20])
    rest = f" and {many - 20} smaller ones" if many > 20 else ""
    if many == 1:
        return f"One grader gave all {total:,} looks: nobody else's eye confirms them."
    largest = report.shares[0].share
    lean_on = " More than half of what is known comes from one pair of eyes." if largest > 0.5 else ""
    return f"{many} graders gave {total:,} looks. Their shares: {listed}{rest}.{lean_on}"


def sheet_rows(report):
    """The whole report as rows of text, the first of them the heads; a year that is held back has only its counts."""
    heads = ["trait", "born in", "animals", "looks", "herds", "graders"]
    for title in BASES.values():
        heads += [title.lower(), f"{title.lower()} from", f"{title.lower()} to"]
    rows = [[*heads, "held back"]]
    for each in report.traits:
        for row in each.rows:
            figures = []
            for mean in row.means:
                figures += ["", "", ""] if mean is None else [cell(mean.value), cell(mean.low), cell(mean.high)]
            counts = [row.animals, row.looks, row.herds, row.graders]
            rows.append([str(each.trait), row.year, *counts, *figures, row.held])
    return rows


def cell(value):
    return "" if value is None else f"{value:.2f}"


def goal_now(breed, on):
    return twoway.goal_of(twoway.club_profile(breed.pk, on))
