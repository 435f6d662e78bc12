"""CSV as it comes: whichever encoding and whichever sign between the cells."""

import codecs
import csv
import io
from collections import Counter

SIGNS = (";", ",", "\t", "|")
LOOKED_AT = 80
LONGEST_CELL = 100_000
MOST_LINES = 30  # in one cell; more are rows that a quotation mark swallowed
PAGES = ("<!doctype", "<html", "<table", "<?xml")


class NotText(ValueError):
    """The file is no text with rows; the message is a sentence."""


def rows_of_text(data):
    """(rows of cells, remarks) of a CSV file's bytes. Raises NotText."""
    text, remarks = decoded(data)
    start = text.lstrip()[:20].lower()
    if start.startswith(PAGES):
        raise NotText(
            "This file is a web page, whatever its name says. Open it in your spreadsheet program, save it as XLSX or "
            "CSV, and bring that file."
        )
    first, _, after = text.partition("\n")
    sign = None
    if first.strip().lower().startswith("sep=") and len(first.strip()) == 5:
        sign, text = first.strip()[-1], "\n" + after
    sign = sign or sign_between(text)
    csv.field_size_limit(LONGEST_CELL)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=sign))
        swallowed = any(cell.count("\n") > MOST_LINES for row in rows for cell in row if len(cell) > MOST_LINES)
    except csv.Error:
        swallowed = True
    if not swallowed:
        return rows, remarks
    # A quotation mark that is never closed: every line for itself.
    plain = csv.reader(io.StringIO(text, newline=""), delimiter=sign, quoting=csv.QUOTE_NONE)
    try:
        rows = [[cell.strip().strip('"') for cell in row] for row in plain]
    except csv.Error as why:
        raise NotText("A row of this file is longer than any sheet's. Save the sheet again as CSV.") from why
    return rows, [*remarks, "A quotation mark in the file is never closed, so each line was read as one row."]


def decoded(data):
    """(text, remarks) of bytes in UTF-8, UTF-16 or Windows-1252, whichever they are."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _whole(data.decode("utf-16", errors="replace"), "UTF-16")
    if data.startswith(codecs.BOM_UTF8):
        return _whole(data.decode("utf-8-sig", errors="replace"), "UTF-8")
    zeros = data[:4000].count(0)
    if zeros > len(data[:4000]) // 4:
        order = "utf-16-be" if data[0] == 0 else "utf-16-le"
        return _whole(data.decode(order, errors="replace"), "UTF-16")
    odd = sum(1 for byte in data[:4000] if byte < 32 and byte not in (9, 10, 12, 13))
    if odd > len(data[:4000]) // 20:
        raise NotText("This file is no sheet that can be read here. A sheet is needed: XLSX or CSV.")
    data = data.replace(b"\x00", b"")
    try:
        return data.decode("utf-8"), []
    except UnicodeDecodeError:
        pass
    leaned = data.decode("utf-8", errors="surrogateescape")
    broken = sum(1 for letter in leaned if "\udc80" <= letter <= "\udcff")
    right = sum(1 for letter in leaned if letter > "\x7f") - broken
    if right > broken:
        return _whole(data.decode("utf-8", errors="replace"), "UTF-8")
    return _whole(data.decode("cp1252", errors="replace"), "Windows-1252")


def _whole(text, encoding):
    broken = text.count("\N{REPLACEMENT CHARACTER}")
    if not broken:
        return text, []
    letters = "1 letter" if broken == 1 else f"{broken} letters"
    return text, [
        f"{letters} of the file could not be read as {encoding} and show as \N{REPLACEMENT CHARACTER}. "
        "If names look wrong, save the sheet as XLSX, or as CSV in UTF-8."
    ]


def sign_between(text):
    """The sign that divides most rows into the same number of cells, the more cells the better."""
    lines = [line for line in io.StringIO(text) if line.strip(" ,;\t|\r\n")][:LOOKED_AT]
    sample = "".join(lines)
    best, best_score = ",", 0.0
    for sign in SIGNS:
        try:
            counts = Counter(len(row) for row in csv.reader(io.StringIO(sample), delimiter=sign))
        except csv.Error:
            continue
        cells, rows = max(((n, many) for n, many in counts.items() if n > 1), key=lambda x: x[0] * x[1], default=(0, 0))
        score = cells * rows / max(1, sum(counts.values()))
        if score > best_score:
            best, best_score = sign, score
    return best
