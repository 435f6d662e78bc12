"""The lists of this app as CSV, the same rows as on the screen."""

import csv

from django.http import HttpResponse

from clubsite.spreadsheets import harmless
from grading.figures import percent
from grading.merit_words import interval_words, step_words
from grading.twoway import words_for

FIGURES = ("surface", "undercolor", "reach", "surface_like", "undercolor_like", "reach_like")
HEADS = (
    "surface shade",
    "undercolor",
    "undercolor reach",
    "surface shade like for like",
    "undercolor like for like",
    "undercolor reach like for like",
)
MERIT_HEADS = tuple(
    f"{what} {trait}" for trait in ("surface shade", "undercolor") for what in ("merit", "interval", "reliability")
)
COUNTS = ("animals", "dams", "herds", "graders")


def _sheet(name, head, rows):
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    writer = csv.writer(response)
    writer.writerow(head)
    writer.writerows([[harmless(cell) for cell in row] for row in rows])
    return response


def _figures(row):
    return [words_for(row[name]) if row[name] is not None else "" for name in FIGURES]


def sire_sheet(rows):
    """Sires as a CSV file."""
    body = [
        [row["sire"], row["sire"].herd or "", *(row[name] for name in COUNTS), *_figures(row), *_merits(row)]
        for row in rows
    ]
    return _sheet("sires", ["sire", "herd", *COUNTS, *HEADS, *MERIT_HEADS], body)


def trade_off_sheet(rows):
    """Sires that may break the trade-off as a CSV file."""
    head = [
        "sire", "herd", "merit surface shade", "from", "to", "merit undercolor", "from", "to",
        "chance both above the club", "chance both in the goal", "undercolor above the line", "from", "to",
        "progeny", "dams",
    ]  # fmt: skip
    body = []
    for row in rows:
        told = [(each.step, each.low, each.high) for each in (row["surface"], row["undercolor"])]
        line = [row[name] for name in ("above", "above_low", "above_high")]
        goal = "" if row["goal"] is None else f"{row['goal']:.3f}"
        body.append(
            [
                row["sire"], row["sire"].herd or "", *(f"{value:.2f}" for each in told for value in each),
                f"{row['both']:.3f}", goal, *(f"{value:.2f}" for value in line), row["progeny"], row["dams"],
            ]
        )  # fmt: skip
    return _sheet("sires-bright-and-dark", head, body)


def _merits(row):
    """Merit, its interval and its reliability for both traits; a sire who is not ranked has none here either."""
    told = [None, None] if row["too_few"] else row["merit_told"]
    cells = []
    for merit in told:
        cells += [step_words(merit), interval_words(merit), percent(merit.reliability)] if merit else [""] * 3
    return cells


def year_sheet(rows):
    """Birth years as a CSV file; what is held back stays empty."""
    body = [
        [row["key"], *(row[name] for name in COUNTS), *([""] * len(FIGURES) if row["held"] else _figures(row))]
        for row in rows
    ]
    return _sheet("years", ["born in", *COUNTS, *HEADS], body)


def report_sheet(rows):
    """The year report as a CSV file, a row for each trait and birth year; the first row holds the heads."""
    return _sheet("year-report", rows[0], rows[1:])
