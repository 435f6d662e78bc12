"""A file as the parts that are brought in: which worksheets, which columns, and the records they hold."""

from dataclasses import dataclass, field

from herds.sheets import columns as cols
from herds.sheets.cells import plain, text
from herds.sheets.days import order_of
from herds.sheets.layout import find_table
from herds.sheets.opening import NotASheet, open_sheet
from herds.sheets.reading import Answers, read_rows

SAMPLES = 3
FINDABLE = {"mark", "name", "registration", "right_mark", "ring"}


@dataclass
class Part:
    """One worksheet with its table and what its columns mean."""

    name: str
    table: object
    kind: str
    fields: list
    used: bool
    remarks: list = field(default_factory=list)

    @property
    def digest(self):
        return cols.headers_digest(self.table.headers)

    def samples(self, at):
        """Up to three filled cells of a column."""
        cells = (text(row[at]) for _, row in self.table.rows if at < len(row) and row[at] is not None)
        found = []
        for cell in cells:
            if cell not in found:
                found.append(cell)
            if len(found) == SAMPLES:
                break
        return found


def parts_of(data, settings, layouts=None):
    """The parts of a file. `settings` holds what a person chose; `layouts` is asked for headers seen before."""
    parts = []
    for at, worksheet in enumerate(open_sheet(data)):
        table = find_table(worksheet.rows)
        cells = [row for _, row in table.rows]
        kind, fields = cols.guess(table.headers, cells)
        part = Part(worksheet.name, table, kind, fields, True, worksheet.remarks)
        chosen = (settings.get("parts") or {}).get(str(at)) or (layouts(part.digest) if layouts else None)
        if chosen and len(chosen["columns"]) == len(fields):
            part.kind, part.fields = chosen["kind"] or kind, list(chosen["columns"])
        _named_columns(part, settings.get("columns") or {})
        part.used = (chosen or {}).get("used", is_worth(part))
        parts.append(part)
    if not any(part.used for part in parts):  # nothing is understood yet: the longest waits for its columns
        max(parts, key=lambda part: len(part.table.rows)).used = True
    return parts


def is_worth(part):
    """A worksheet is brought in unasked when its columns say which animals or litters its rows are."""
    if not part.table.rows:
        return False
    if part.kind == cols.LITTER:
        return {"dam", "kindled"} <= set(part.fields)
    named = set(part.fields) - {""}
    return bool(named & FINDABLE) and (len(named) > 1 or len(part.fields) == 1)


def _named_columns(part, named):
    """Fields given by header, from the command line or another program; they win over every guess."""
    for header, name in named.items():
        for at, mine in enumerate(part.table.headers):
            if plain(mine) == plain(header) or (not plain(header) and mine == header):
                wanted = name if name in cols.FIELDS[part.kind] else ""
                if wanted and wanted not in cols.SEVERAL:
                    part.fields = ["" if each == wanted else each for each in part.fields]
                part.fields[at] = wanted


def records_of(parts, settings, today):
    """(records, answers) of the parts in use; days are read in the order that their unambiguous cells tell."""
    used = [part for part in parts if part.used]
    answers = Answers(dates=settings.get("dates") or "", weights=settings.get("weights") or "", today=today)
    if not answers.dates:
        answers.dates = order_of(_day_cells(used))[0] or ""
    records: list = []
    for part in used:
        records += read_rows(
            part.table, part.kind, part.fields, answers, sheet=part.name if len(used) > 1 else "", place=len(records)
        )
    return records, answers


def _day_cells(parts):
    for part in parts:
        days = [at for at, name in enumerate(part.fields) if name in cols.DAYS[part.kind]]
        for _, row in part.table.rows:
            yield from (row[at] for at in days if at < len(row))


def refuse_useless(parts):
    """Raise NotASheet when no part can be brought in, with what was looked for."""
    if any(part.used and is_worth(part) for part in parts):
        return
    seen = " · ".join(header for part in parts for header in part.table.headers if header)[:200]
    raise NotASheet(
        "No worksheet has a column that names animals: a mark, a name or a registration number. "
        + (f"Its headers read: {seen}." if seen else "It has no headers.")
    )
