"""Days in cells: one form for a whole sheet, taken from the cells that can be read in one way only, else asked."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from .cells import is_unknown, plain, text

DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "day-first", "month-first", "year-first"
ORDERS = (DAY_FIRST, MONTH_FIRST, YEAR_FIRST)
EARLIEST = date(1950, 1, 1)
# Spreadsheets count days from 30 December 1899, by the 1900 date system of ECMA-376 part 1, 18.17.4.1.
SERIAL_ZERO = date(1899, 12, 30)
SERIALS = (18_264, 73_050)  # 1950 to the end of 2099
MONTHS = {
    month: number
    for number, months in enumerate(
        (
            "jan january januar janner jaenner janvier janv januari",
            "feb february februar fevrier fevr februari febr",
            "mar march marz maerz mars maart mrt mrz",
            "apr april avril avr",
            "may mai mei",
            "jun june juni juin",
            "jul july juli juillet juil",
            "aug august aout augustus",
            "sep sept september septembre",
            "oct october oktober okt octobre",
            "nov november novembre",
            "dec december dezember dez decembre",
        ),
        1,
    )
    for month in months.split()
}
NUMBERS = re.compile(r"(\d{1,4})\s*([./\-\\ ])\s*(\d{1,2})\s*[./\-\\ ]\s*(\d{1,4})(?:[ t]\d{1,2}[:.]\d{2}.*)?", re.I)
YEAR = re.compile(r"(?:19|20)\d\d")


@dataclass(frozen=True)
class Day:
    """What a cell says of a day: `day`; or `partial` (a year, a month); or `open` (two readings); or `wrong`."""

    day: date | None = None
    partial: str = ""
    open: bool = False
    wrong: str = ""


def read_day(cell, order=None, today=None):
    """What a cell says of a day. `order` is one of ORDERS, or None while the sheet's order is not known."""
    found = _read(cell, order)
    if found.day is None:
        return found
    if today and found.day > today:
        return Day(wrong=f"“{text(cell)}” lies in the future")
    if found.day < EARLIEST:
        return Day(wrong=f"“{text(cell)}” lies before {EARLIEST.year}")
    return found


def order_of(cells):
    """(order, whether cells contradict) of many cells, by those that can be read in one way only.

    Points between the numbers mean the day first (common practice, no source) as long as no cell contradicts. The
    order is None when nothing tells.
    """
    tells: set[str] = set()
    dotted = open_cells = 0
    for cell in cells:
        if not isinstance(cell, str) or not (parts := _parts(cell)):
            continue
        first, sign, second, third = parts
        if len(first) == 4:
            continue
        day_first = bool(_day(third, second, first))
        month_first = bool(_day(third, first, second))
        if day_first and month_first and first != second:
            open_cells += 1
            dotted += sign == "."
        elif day_first and not month_first:
            tells.add(DAY_FIRST)
        elif month_first and not day_first:
            tells.add(MONTH_FIRST)
        elif int(first) > 31 and _day(first, second, third):
            tells.add(YEAR_FIRST)
    if len(tells) == 1:
        return tells.pop(), False
    if not tells and open_cells and dotted == open_cells:
        return DAY_FIRST, False
    return None, len(tells) > 1


def looks_like_day(cell):
    """True for a cell that is a day, in whatever order its numbers stand."""
    if isinstance(cell, (date, datetime)):
        return True
    if not isinstance(cell, str) or re.fullmatch(r"\d+", cell):
        return False
    found = _read(cell, None)
    return found.day is not None or found.open


def _read(cell, order):
    if isinstance(cell, datetime):
        return Day(cell.date())
    if isinstance(cell, date):
        return Day(cell)
    said = text(cell)
    if is_unknown(said):
        return Day()
    if (isinstance(cell, (int, float)) and not isinstance(cell, bool)) or re.fullmatch(r"\d{4,8}(?:\.0)?", said):
        return _of_number(said, order)
    if parts := _parts(said):
        return _of_parts(said, parts, order)
    return _of_words(said)


def _of_number(said, order):
    if not re.fullmatch(r"-?\d{1,9}(?:\.\d+)?", said):  # no number, endless, or far beyond any day
        return Day(wrong=f"“{said}” is not a day")
    number = int(float(said))
    if YEAR.fullmatch(str(number)):
        return Day(partial=str(number))
    if SERIALS[0] <= number <= SERIALS[1]:
        return Day(SERIAL_ZERO + timedelta(days=number))
    digits = said.removesuffix(".0")
    if len(digits) == 8:
        if YEAR.match(digits) and (day := _day(digits[:4], digits[4:6], digits[6:])):
            return Day(day)
        return _of_parts(said, (digits[:2], "/", digits[2:4], digits[4:]), order)
    return Day(wrong=f"“{said}” is not a day")


def _parts(said):
    found = NUMBERS.fullmatch(text(said))
    return found.groups() if found else None


def _of_parts(said, parts, order):
    first, _sign, second, third = parts
    if len(first) > 2:
        day = _day(first, second, third) if len(first) == 4 else None
        return Day(day) if day else Day(wrong=f"“{said}” is not a day of the calendar")
    if len(third) == 3:
        return Day(wrong=f"“{said}” is not a day of the calendar")
    readings = {
        DAY_FIRST: _day(third, second, first),
        MONTH_FIRST: _day(third, first, second),
        YEAR_FIRST: _day(first, second, third) if len(third) <= 2 else None,
    }
    if order == YEAR_FIRST and len(third) == 4:
        order = None
    if order and int(first) > 31 and readings[YEAR_FIRST]:
        return Day(readings[YEAR_FIRST])
    if order:
        if readings[order]:
            return Day(readings[order])
        other = {DAY_FIRST: "day", MONTH_FIRST: "month", YEAR_FIRST: "year"}[order]
        if any(readings.values()):
            return Day(wrong=f"“{said}” cannot be read with the {other} first, as the rest of the sheet")
        return Day(wrong=f"“{said}” is not a day of the calendar")
    possible = {day for name, day in readings.items() if day and name != YEAR_FIRST}
    if not possible and readings[YEAR_FIRST] and int(first) > 31:
        possible = {readings[YEAR_FIRST]}
    if len(possible) == 2:
        return Day(open=True)
    return Day(possible.pop()) if possible else Day(wrong=f"“{said}” is not a day of the calendar")


def _day(year, month, day):
    """The day of the calendar, or None; two digits of a year mean the last hundred years (common practice)."""
    if len(year) not in (2, 4) or len(day) > 2 or len(month) > 2:
        return None
    number = int(year)
    if len(year) == 2:
        number += 2000 if number <= date.today().year % 100 else 1900
    try:
        return date(number, int(month), int(day))
    except ValueError:
        return None


def _of_words(said):
    """Days with the month in words, such as 5 Jun 2022 or June 5th, 2022; a month or a year alone is partial."""
    tokens = re.findall(r"\d+|[a-z]+", plain(said))
    months = [MONTHS[token] for token in tokens if token in MONTHS]
    numbers = [token for token in tokens if token.isdecimal()]
    years = [token for token in numbers if YEAR.fullmatch(token)]
    if len(months) == 1:
        rest = [token for token in numbers if token not in years]
        if len(years) == 1 and len(rest) == 1 and (day := _day(years[0], str(months[0]), rest[0])):
            return Day(day)
        if not years and len(rest) == 2 and len(rest[1]) == 2 and (day := _day(rest[1], str(months[0]), rest[0])):
            return Day(day)
        if len(years) == 1 and not rest:
            return Day(partial=said)
        return Day(wrong=f"“{said}” is not a day of the calendar")
    if len(years) == 1 and len(numbers) <= 2 and len(said) <= 30:
        return Day(partial=said)
    return Day(wrong=f"“{said}” cannot be read as a day")
