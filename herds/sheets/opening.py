"""From the bytes of a file to worksheets of cells; what is no sheet is refused in a sentence."""

import io
import re
import zipfile
from dataclasses import dataclass, field
from datetime import date, datetime

from .csv_text import NotText, rows_of_text

MOST_BYTES = 20 * 1024 * 1024
MOST_UNPACKED = 250 * 1024 * 1024
MOST_PARTS = 2_000
MOST_CELLS = 6_000_000
MOST_ROWS = 200_000
MOST_COLUMNS = 300
LONGEST_CELL = 2_000
BLOCK = 1024 * 1024

SAVE_AS = "Open it in your spreadsheet program, save it as XLSX or CSV, and bring that file."
OTHER_KINDS = (
    (b"%PDF", "This file is a PDF, whatever its name says. A sheet is needed: XLSX or CSV."),
    (b"\x89PNG", "This file is a picture. A sheet is needed: XLSX or CSV."),
    (b"\xff\xd8\xff", "This file is a picture. A sheet is needed: XLSX or CSV."),
    (b"GIF8", "This file is a picture. A sheet is needed: XLSX or CSV."),
    (b"{\\rtf", f"This file is a text document. {SAVE_AS}"),
    (b"Rar!", "This file is an archive. Unpack it and bring the sheet inside."),
    (b"7z\xbc\xaf", "This file is an archive. Unpack it and bring the sheet inside."),
    (b"\x1f\x8b", "This file is an archive. Unpack it and bring the sheet inside."),
)
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
CELL_AT = re.compile(rb'<(?:\w+:)?c\b[^>]*?\br="([A-Z]{1,4})(\d{1,9})"')
MARKUP = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)


class NotASheet(ValueError):
    """The file cannot be read as a sheet; the message is a sentence for the person who brought it."""


@dataclass
class Worksheet:
    """One worksheet: its rows that hold anything, each with the number that a spreadsheet shows beside it."""

    name: str
    rows: list = field(default_factory=list)  # (number, [cell, ...]); a cell is None, text, number, bool or day
    remarks: list = field(default_factory=list)


def open_sheet(data):
    """The worksheets of a file, by what it holds and not by its name. Raises NotASheet."""
    if len(data) > MOST_BYTES:
        raise NotASheet(f"The file is larger than {MOST_BYTES // 1024**2} MB. Divide it into several sheets.")
    if not data.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise NotASheet("The file is empty. Save the sheet again and bring that file.")
    for start, said in OTHER_KINDS:
        if data.startswith(start):
            raise NotASheet(said)
    if data[:4] == b"PK\x03\x04":
        _check_parts(data)
        worksheets = _workbook(data)
    elif data.startswith(OLD_WORKBOOK):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise NotASheet(f"The workbook is protected by a password. Take the password off first. {SAVE_AS}")
        worksheets = _workbook(data)
    else:
        try:
            rows, remarks = rows_of_text(data)
        except NotText as why:
            raise NotASheet(str(why)) from why
        worksheets = [_worksheet("", enumerate(rows, 1), remarks)]
    if not any(sheet.rows for sheet in worksheets):
        raise NotASheet("The file holds no filled cells. Save the sheet again and bring that file.")
    return [sheet for sheet in worksheets if sheet.rows]


def _workbook(data):
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        return [_of_workbook(book, name) for name in book.sheet_names]
    except NotASheet:
        raise
    except (CalamineError, OSError, ValueError, KeyError, IndexError) as why:
        if "password" in str(why).lower():
            raise NotASheet(f"The workbook is protected by a password. Take it off first. {SAVE_AS}") from why
        raise NotASheet(f"The workbook is damaged or of another kind. {SAVE_AS}") from why


def _of_workbook(book, name):
    sheet = book.get_sheet_by_name(name)
    rows = sheet.to_python(skip_empty_area=False)
    for (top, left), (bottom, right) in getattr(sheet, "merged_cell_ranges", None) or ():
        _fill_merged(rows, top, left, bottom, right)
    return _worksheet(name, enumerate(rows, 1), [])


def _fill_merged(rows, top, left, bottom, right):
    """A merged cell means its value for every cell that it covers."""
    if top >= len(rows) or left >= len(rows[top]) or rows[top][left] in ("", None):
        return
    value = rows[top][left]
    for row in rows[top : min(bottom, top + 1000) + 1]:
        for column in range(left, min(right + 1, len(row))):
            if row[column] in ("", None):
                row[column] = value


def _worksheet(name, numbered, remarks):
    sheet = Worksheet(name=name[:100], remarks=list(remarks))
    for number, row in numbered:
        cells = [_cell(value) for value in row]
        while cells and cells[-1] is None:
            cells.pop()
        if not cells:
            continue
        if len(cells) > MOST_COLUMNS:
            raise NotASheet(
                f"Row {number} has {len(cells)} columns, and {MOST_COLUMNS} are the most that are read. "
                "Delete the columns that the registry does not need."
            )
        sheet.rows.append((number, cells))
        if len(sheet.rows) > MOST_ROWS:
            raise NotASheet(f"The sheet has more than {MOST_ROWS:,} filled rows. Divide it into several sheets.")
    return sheet


def _cell(value):
    """A cell as it is used here: None when empty, text without control characters, a number, a day."""
    if isinstance(value, datetime):
        return value.date() if value.time() == datetime.min.time() else value
    if isinstance(value, str):
        text = "".join(each if each.isprintable() else " " for each in value).strip()
        return text[:LONGEST_CELL] if text else None
    if value is None or isinstance(value, (bool, int, float, date)):
        return value
    return str(value)


def _check_parts(data):
    """Look into the ZIP of a workbook before anything unpacks it: what it is, how large, how far out its cells lie."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        parts = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError) as why:
        raise NotASheet(f"The workbook is damaged. {SAVE_AS}") from why
    names = {part.filename for part in parts}
    if "xl/workbook.xml" not in names:
        raise NotASheet(_other_archive(names))
    too_large = (
        f"Unpacked, the workbook would be larger than {MOST_UNPACKED // 1024**2} MB, which no herd's sheet is. "
        "Copy the cells into a new workbook and bring that."
    )
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED:
        raise NotASheet(too_large)
    unpacked = 0
    for part in parts:
        if part.flag_bits & 1:
            raise NotASheet(f"The workbook is protected by a password. Take the password off first. {SAVE_AS}")
        if not part.filename.endswith((".xml", ".rels")):
            continue
        try:
            unpacked += _check_part(archive, part, MOST_UNPACKED - unpacked, too_large)
        except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, zipfile.zlib.error) as why:
            raise NotASheet(f"The workbook is damaged. {SAVE_AS}") from why


def _check_part(archive, part, room, too_large):
    """Read one part in blocks, count what really comes out, and look at it; returns how many bytes there were."""
    size, rest, rows, columns = 0, b"", 0, 0
    of_cells = part.filename.startswith("xl/worksheets/")
    with archive.open(part) as stream:
        while block := stream.read(BLOCK):
            size += len(block)
            if size > room:
                raise NotASheet(too_large)
            window = rest + block
            if MARKUP.search(window):
                raise NotASheet(f"The workbook holds instructions that no spreadsheet program writes. {SAVE_AS}")
            if of_cells:
                for letters, digits in CELL_AT.findall(window):
                    rows, columns = max(rows, int(digits)), max(columns, _column_number(letters))
            rest = window[-64:]
    if rows * columns > MOST_CELLS:
        raise NotASheet(
            f"The worksheet reaches to row {rows:,} and column {columns:,}, far beyond what is filled. "
            "Copy the filled cells into a new workbook and bring that."
        )
    return size


def _column_number(letters):
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _other_archive(names):
    if "word/document.xml" in names:
        return f"This file is a text document. {SAVE_AS}"
    if "xl/workbook.bin" in names or "content.xml" in names:
        return f"This kind of workbook is not read here. {SAVE_AS}"
    return "This file is a ZIP archive and no workbook. Unpack it and bring the sheet inside."
