"""Where the table lies in a worksheet: titles above, headers of one row or two, headers again in the middle."""

from dataclasses import dataclass, field

from .cells import plain, text
from .columns import ANIMAL, LEFT_OUT, LITTER, field_of
from .days import looks_like_day

LOOKED_AT = 40
TOTALS = [["total"], ["totals"], ["sum"], ["summe"], ["gesamt"], ["count"]]


@dataclass
class Table:
    """A worksheet's table: a header for every column, and the rows that are its own."""

    headers: list
    rows: list = field(default_factory=list)  # (number, cells)
    header_rows: list = field(default_factory=list)  # numbers of the rows that are headers
    skipped: list = field(default_factory=list)  # (number, text) of titles and headers that stand among the rows


def find_table(rows):
    """The table of a worksheet's filled rows. Without a header every row is a row."""
    start, span = _header(rows[:LOOKED_AT])
    width = max(len(cells) for _, cells in rows)
    if span == 0:
        table = Table(headers=[""] * width)
    else:
        heads = [cells for _, cells in rows[start : start + span]]
        table = Table(headers=_joined(heads, width), header_rows=[number for number, _ in rows[start : start + span]])
        table.skipped += [(number, _words(cells)) for number, cells in rows[:start]]
    heads = [cells for _, cells in rows[start : start + span]]
    again = [{(at, plain(text(cell))) for at, cell in enumerate(head) if cell is not None} for head in heads]
    for number, cells in rows[start + span :]:
        if _is_again(cells, again) or (width > 2 and _is_title(cells)):
            table.skipped.append((number, _words(cells)))
        else:
            table.rows.append((number, cells))
    return table


def _header(rows):
    """(place, how many rows) of the headers: those that name the most fields; (0, 0) when none name two."""
    best, where = 1, (0, 0)
    width = max((len(cells) for _, cells in rows), default=0)
    for at, (number, cells) in enumerate(rows):
        if not _may_be_header(cells):
            continue
        found = _named([cells], width)
        if found > best:
            best, where = found, (at, 1)
        if at + 1 < len(rows) and rows[at + 1][0] == number + 1 and _may_be_header(rows[at + 1][1]):
            both = [cells, rows[at + 1][1]]
            alone = _named([both[1]], width)
            found = _named(both, width)
            if found > max(best, alone) and _named([both[0]], width) and alone:
                best, where = found, (at, 2)
    if where == (0, 0) and rows and _may_be_header(rows[0][1]):
        first, others = rows[0][1], [cells for _, cells in rows[1:]]
        if (width <= 2 and _named([first], width)) or _unlike(first, others, width):
            return 0, 1
    return where


def _unlike(first, others, width):
    """True for a first row of words over a column of numbers, days or marks: unknown headers, but headers."""
    if len({text(cell) for cell in first if cell is not None}) < max(2, 0.6 * width) or not others:
        return False
    if any(any(letter.isdigit() for letter in text(cell)) for cell in first):
        return False
    for at in range(width):
        below = [text(cells[at]) for cells in others if at < len(cells) and cells[at] is not None]
        if below and sum(any(letter.isdigit() for letter in cell) for cell in below) >= 0.7 * len(below):
            return True
    return bool(_named([first], width))


def _may_be_header(cells):
    """Words only, and not the same word over the whole width, as a merged title is."""
    words = [text(cell) for cell in cells if cell is not None]
    if not words or any(looks_like_day(cell) or isinstance(cell, (int, float)) for cell in cells):
        return False
    return len(words) == 1 or len(set(words)) > 1


def _named(heads, width):
    headers = _joined(heads, width)
    return max(len({field_of(header, kind) for header in headers} - {LEFT_OUT}) for kind in (ANIMAL, LITTER))


def _joined(heads, width):
    headers = []
    for at in range(width):
        words = []
        for head in heads:
            said = text(head[at]) if at < len(head) else ""
            if said and said not in words:
                words.append(said)
        headers.append(" ".join(words)[:120])
    return headers


def _is_again(cells, again):
    mine = {(at, plain(text(cell))) for at, cell in enumerate(cells) if cell is not None}
    return any(head and len(mine & head) >= max(2, 0.6 * len(head)) for head in again)


def _is_title(cells):
    """One cell of words, such as 'Does' or 'Litter of May' (a mark has a digit), or a line of totals."""
    if plain(text(cells[0])).split()[:1] in TOTALS and sum(cell is not None for cell in cells) <= 3:
        return True
    words = {text(cell) for cell in cells if cell is not None}
    filled = sum(cell is not None for cell in cells)
    if len(words) != 1 or (filled == 1 and len(cells) > 1 and cells[0] is None):
        return False
    word = words.pop()
    one_word_with_digit = any(each.isdigit() for each in word) and " " not in word
    return (filled == 1 or filled > 2) and not one_word_with_digit


def _words(cells):
    return " · ".join(dict.fromkeys(text(cell) for cell in cells if cell is not None))[:200]
