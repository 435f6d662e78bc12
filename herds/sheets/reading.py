"""From a table and the meaning of its columns to records: values, what is wrong in a row, and what must be asked."""

from dataclasses import dataclass, field
from datetime import date

from herds.units import NotAWeight

from . import columns as cols
from .cells import OWN_PLACES, is_unknown, read_count, read_place, read_sex, text
from .days import read_day
from .weights import NoUnit, read_grams

LONGEST = {
    "mark": 40,
    "right_mark": 40,
    "ring": 40,
    "registration": 40,
    "name": 80,
    "breeder": 80,
    "keeper": 80,
    "breed": 80,
    "variety": 60,
}
MOST_KITS = 25
MOST_NOTES = 4_000


@dataclass
class Answers:
    """What is answered once for a whole sheet; an empty answer is asked wherever it is needed."""

    dates: str = ""  # one of days.ORDERS
    weights: str = ""  # one of weights.UNITS
    today: date | None = None


@dataclass
class Record:
    """One row of a sheet as values. `wrong` are sentences that refuse it, `open` names answers that it waits for."""

    place: int
    sheet: str
    number: int
    kind: str
    cells: list
    values: dict = field(default_factory=dict)
    wrong: list = field(default_factory=list)
    open: set = field(default_factory=set)
    remarks: list = field(default_factory=list)

    def __getitem__(self, name):
        return self.values.get(name)


def read_rows(table, kind, fields, answers, *, sheet="", place=0):
    """Records of a table's rows; `fields` names the field of each column, '' for one that is left out."""
    reader = _Reader(table.headers, fields, answers, kind)
    return [reader.record(place + at, sheet, number, cells) for at, (number, cells) in enumerate(table.rows)]


class _Reader:
    def __init__(self, headers, fields, answers, kind):
        self.headers, self.answers, self.kind = headers, answers, kind
        self.columns = [(at, name) for at, name in enumerate(fields) if name]
        weight = next((at for at, name in self.columns if name == "weight"), None)
        self.unit = (cols.unit_in(headers[weight]) if weight is not None else "") or answers.weights
        if self.unit == "lb_oz" and answers.weights in ("lb", "lb_oz"):
            self.unit = answers.weights

    def record(self, place, sheet, number, cells):
        row = Record(place, sheet, number, self.kind, [text(cell) for cell in cells])
        for at, name in self.columns:
            cell = cells[at] if at < len(cells) else None
            if cell is not None:
                self._read(row, name, cell, self._title(at))
        if self.kind == cols.LITTER:
            self._check_litter(row)
        else:
            self._check_animal(row)
        return row

    def _title(self, at):
        header = self.headers[at] if at < len(self.headers) else ""
        return f"the column {header}" if header else f"column {at + 1}"

    def _read(self, row, name, cell, where):
        values, said = row.values, text(cell)
        if name in ("sire", "dam"):
            if not is_unknown(cell):
                values.setdefault(name, []).append(said[:120])
        elif name == "notes":
            if said:
                values.setdefault("notes", []).append(said)
        elif name in ("born", "weighed", "mated", "kindled"):
            self._read_day(row, name, cell, where)
        elif name == "sex":
            values["sex"] = read_sex(cell)
            if values["sex"] is None:
                row.wrong.append(
                    f"“{said}” in {where} is no sex that is known here. Write buck or doe, or leave it empty."
                )
        elif name in ("weight", "pounds", "ounces"):
            self._read_weight(row, name, cell, where)
        elif name in ("alive", "dead", "total"):
            values[name] = read_count(cell)
            if values[name] is None or values[name] > MOST_KITS:
                row.wrong.append(f"“{said}” in {where} is no number of kits. Write a whole number up to {MOST_KITS}.")
        elif name == "status":
            values["status"] = read_place(cell)
            if said and said.casefold() not in OWN_PLACES and not (values["status"] and len(said) < 12):
                values.setdefault("notes", []).append(said)
        elif not is_unknown(cell) or (name == "name" and said in ("X", "No")):
            if len(said) > LONGEST[name]:
                row.wrong.append(f"The cell in {where} is longer than {LONGEST[name]} letters. Shorten it.")
            values[name] = said[: LONGEST[name]]

    def _read_day(self, row, name, cell, where):
        found = read_day(cell, self.answers.dates or None, self.answers.today)
        if found.open:
            row.open.add("dates")
            row.values[f"{name}_text"] = text(cell)
        elif found.wrong:
            row.wrong.append(f"{found.wrong} ({where}). Write the day as it was, or leave the cell empty.")
        elif found.partial:
            what = {"born": "Born", "weighed": "Weighed", "mated": "Mated", "kindled": "Kindled"}[name]
            row.values.setdefault("notes", []).append(f"{what}: {found.partial}.")
            row.remarks.append(f"“{found.partial}” is no whole day. It goes into the notes, and the day stays open.")
        row.values[name] = found.day

    def _read_weight(self, row, name, cell, where):
        try:
            if name == "weight":
                row.values["weight"] = read_grams(cell, self.unit)
            else:
                row.values[name] = read_count(cell) if "." not in text(cell) else float(text(cell))
                if row.values[name] is None:
                    raise NotAWeight(f"“{text(cell)}” is no weight.")
        except NoUnit:
            row.open.add("weights")
        except (NotAWeight, ValueError) as why:
            row.wrong.append(f"{where[0].upper()}{where[1:]}: {why}")

    def _check_animal(self, row):
        values = row.values
        if "pounds" in values or "ounces" in values:
            try:
                pounds, ounces = values.get("pounds") or 0, values.get("ounces") or 0
                values["weight"] = read_grams(f"{pounds} lb {ounces} oz" if ounces else f"{pounds} lb") if (
                    pounds or ounces
                ) else None  # fmt: skip
            except NotAWeight as why:
                row.wrong.append(str(why))
        if not any(values.get(name) for name in ("mark", "name", "registration", "right_mark", "ring")):
            row.wrong.append(
                "The row has neither a mark nor a name, so nobody could find the animal. Fill one of them in."
            )
        born, weighed = values.get("born"), values.get("weighed")
        if born and weighed and weighed < born:
            row.wrong.append("The day of the weight lies before the birth. Check both days.")

    def _check_litter(self, row):
        values = row.values
        alive, dead, total = (values.get(name) for name in ("alive", "dead", "total"))
        if total and alive is None:
            alive = total - (dead or 0)
        if total and dead is None:
            dead = total - (alive or 0)
        values["alive"], values["dead"] = alive or 0, dead or 0
        if row.wrong or row.open:
            return
        if not values.get("kindled"):
            row.wrong.append(
                "The row has no day of a kindling. Fill it in; a mating without a litter is logged by hand."
            )
        if not values.get("dam"):
            row.wrong.append("The row names no doe. Fill in her mark or her name.")
        if values["alive"] < 0 or values["dead"] < 0:
            row.wrong.append("More kits alive or dead than born in all. Check the three numbers.")
        elif not 1 <= values["alive"] + values["dead"] <= MOST_KITS:
            row.wrong.append(f"A litter has 1 to {MOST_KITS} kits, alive and dead together. Check the numbers.")
