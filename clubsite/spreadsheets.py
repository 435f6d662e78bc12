"""Every list that can be had as CSV can be had as an XLSX workbook: the same rows, with numbers and days as such.

A CSV address with `file=xlsx` answers the workbook. Columns that hold nothing but numbers become numbers, except those
that identify (a mark 007 is no number); days written year-month-day become days. Everything else is text, also what
begins like a formula: cells are written as strings, so nothing in them is ever calculated.
"""

import csv
import io
import re
from datetime import date

from django.http import HttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
NUMBER = re.compile(r"^-?(0|[1-9][0-9]{0,14})(\.[0-9]{1,12})?$")
DAY = re.compile(r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")
IDENTIFIES = re.compile(r"mark|ear|ring|number|name|tattoo|registration|sire|dam|key|phone", re.IGNORECASE)
FORMULA = re.compile(r"^'\s*[=+\-@\t\r\n]")
NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
WIDEST, MOST_LETTERS = 60, 32_767  # a cell of a workbook holds no more letters


def harmless(value) -> str:
    """A cell of CSV that no spreadsheet takes for a formula: what begins like one gets an apostrophe in front.

    A plain number, below zero too, stays a number.
    """
    text = "" if value is None else str(value)
    begins_like_one = text.lstrip().startswith(("=", "+", "-", "@")) or text[:1] in ("\t", "\r", "\n")
    return f"'{text}" if begins_like_one and not NUMBER.match(text) else text


class Workbooks:
    """Middleware: turns a CSV answer into a workbook where the address asks for one."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if request.GET.get("file") == "xlsx" and response.get("Content-Type", "").startswith("text/csv"):
            return as_workbook(response)
        return response


def as_workbook(response):
    """The HttpResponse of the same rows as a workbook."""
    text = b"".join(response).decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text, newline="")))
    name = re.sub(r"\.csv(?=\"|$)", ".xlsx", response.get("Content-Disposition", 'attachment; filename="list.csv"'))
    answer = HttpResponse(workbook(rows), content_type=XLSX, headers={"Content-Disposition": name})
    for header in ("Cache-Control", "Vary"):
        if response.has_header(header):
            answer[header] = response[header]
    return answer


def workbook(rows) -> bytes:
    """A workbook with one sheet of these rows of text, the first of them the heads."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet("List")
    heads, body = (rows[0], rows[1:]) if rows else ([], [])
    kinds = [kind_of(head, [row[place] for row in body if place < len(row)]) for place, head in enumerate(heads)]
    for place, head in enumerate(heads):
        widest = max([len(head), *(len(row[place]) for row in body[:200] if place < len(row))])
        sheet.column_dimensions[get_column_letter(place + 1)].width = min(widest + 2, WIDEST)
    sheet.freeze_panes = "A2"
    sheet.append([_text(sheet, head, bold=True) for head in heads])
    for row in body:
        sheet.append(
            [_cell(sheet, text, kinds[place] if place < len(kinds) else "text") for place, text in enumerate(row)]
        )
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def kind_of(head, cells):
    """'number', 'day' or 'text': what every filled cell of a column is."""
    filled = [cell for cell in cells if cell]
    if not filled:
        return "text"
    if all(map(DAY.match, filled)) and all(map(_is_day, filled)):
        return "day"
    if not IDENTIFIES.search(head) and all(map(NUMBER.match, filled)):
        return "number"
    return "text"


def _is_day(text):
    try:
        return date.fromisoformat(text).year >= 1900  # a workbook knows no day before
    except ValueError:
        return False


def _cell(sheet, text, kind):
    if text and kind == "number":
        return float(text) if "." in text else int(text)
    if text and kind == "day":
        cell = WriteOnlyCell(sheet, date.fromisoformat(text))
        cell.number_format = "yyyy-mm-dd"
        return cell
    return _text(sheet, text) if text else None


def _text(sheet, text, bold=False):
    """A cell of text; the apostrophe before what begins like a formula becomes the workbook's own sign for it."""
    guarded = bool(FORMULA.match(text))
    text = NOT_IN_XML.sub("", text[1:] if guarded else text)[:MOST_LETTERS]
    cell = WriteOnlyCell(sheet, text)
    cell.data_type = "s"
    if guarded:
        cell.quotePrefix = True
    if bold:
        cell.font = Font(bold=True)
    return cell
