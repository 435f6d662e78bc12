"""The lists of this app as CSV, the same rows as on the screen."""

import csv

from django.http import HttpResponse

from clubsite.spreadsheets import harmless
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
    body = [[row["sire"], row["sire"].herd or "", *(row[name] for name in COUNTS), *_figures(row)] for row in rows]
    return _sheet("sires", ["sire", "herd", *COUNTS, *HEADS], body)


def year_sheet(rows):
    """Birth years as a CSV file; what is held back stays empty."""
    body = [
        [row["key"], *(row[name] for name in COUNTS), *([""] * len(FIGURES) if row["held"] else _figures(row))]
        for row in rows
    ]
    return _sheet("years", ["born in", *COUNTS, *HEADS], body)
