"""A list as it is on screen, all pages of it, as a CSV file for a spreadsheet."""

import csv

from django.http import HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.html import strip_tags

from clubsite.spreadsheets import harmless

from .models import Verdict
from .words import age_words


def csv_response(name, cells, rows):
    """The rows as a file; `cells` are pairs of a title and the function that gives a row's value."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}-{timezone.localdate().isoformat()}.csv"'
    response.write("\ufeff")  # spreadsheets take the file for UTF-8 only with this sign
    writer = csv.writer(response)
    writer.writerow([title for title, _ in cells])
    for row in rows.iterator(chunk_size=500):
        writer.writerow([harmless(value(row)) for _, value in cells])
    return response


def rows_response(name, heads, rows):
    """Rows of text, made harmless already, as a file."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}-{timezone.localdate().isoformat()}.csv"'
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow(heads)
    writer.writerows(rows)
    return response


def card_cells():
    """The cells of a registry card."""
    today = timezone.localdate()
    return [
        ("mark", lambda animal: animal.mark_text),
        ("name", lambda animal: animal.name),
        ("sex", lambda animal: animal.get_sex_display()),
        ("born", lambda animal: animal.born_on.isoformat() if animal.born_on else ""),
        ("age", lambda animal: age_words(animal.born_on, today) if animal.born_on else ""),
        ("breeder", lambda animal: animal.breeder),
    ]


def herd_cells(listing):
    """The columns of a herd's list."""
    cells = card_cells()
    if listing.kept:
        cells += [("decision", _verdict_word), ("reason", lambda animal: animal.verdict_reason or "")]
    if listing.outcomes:
        cells.append(("where it is", lambda animal: animal.get_status_display()))
    return cells + [(column.title, _column_text(column)) for column in listing.columns]


def club_cells():
    """The columns of the club's list: the card, its parents and its herd."""
    return [
        *card_cells(),
        ("sire", lambda animal: animal.sire or ""),
        ("dam", lambda animal: animal.dam or ""),
        ("herd", lambda animal: animal.herd or "outside the club"),
    ]


def _verdict_word(animal):
    return str(Verdict(animal.verdict).label) if animal.verdict else ""


def _column_text(column):
    if column.text is not None:
        return column.text
    return lambda animal: " ".join(strip_tags(render_to_string(column.template, {"animal": animal})).split())
