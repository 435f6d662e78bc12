"""A comparison as a CSV file: a row for each trait of each thing, the same figures as on the page."""

import csv

from django.http import HttpResponse

from clubsite.spreadsheets import harmless

from .footing import footing_words
from .sums import MEASURED

HEADS = (
    "letter",
    "compared",
    "trait",
    "what counts",
    "looks",
    "animals",
    "mean",
    "spread (SD)",
    "last",
    "goal from",
    "goal to",
)


def sheet_of(found):
    """The CSV file; what is held back stays empty."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="comparison-of-{found.asked.kind.code}.csv"'
    response.write("\ufeff")  # spreadsheets take the file for UTF-8 only with this sign
    writer = csv.writer(response)
    writer.writerow(HEADS)
    words = footing_words(found.footing, found.profile)
    if found.drawn:
        words += f" Of a thing with more than {MEASURED} animals about so many are drawn evenly."
    for line in found.lines:
        low, high = line.goal or ("", "")
        for cell in line.cells:
            if cell.figure is None:
                continue
            told = ["held back", "", "", "", ""] if cell.held else _told(cell.figure)
            row = [cell.thing.letter, cell.thing.name, line.trait.name, words, *told, low, high]
            writer.writerow([harmless(value) for value in row])
    return response


def _told(figure):
    def number(value):
        return "" if value is None else f"{value:.2f}"

    return [figure.looks, figure.animals, number(figure.mean), number(figure.sd), number(figure.last)]
