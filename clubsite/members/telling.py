"""Changes in words: who changed what, when, from what to what, and why, as far as the reader may see names."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.apps import apps
from django.db import models
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.formats import date_format
from django.utils.text import capfirst

from .models import REMEMBERED, TIES, Action, Audience, Change, Member

NOTHING, SYSTEM, FORMER = "nothing", "The system", "a former member"
NOT_SHOWN = "one that is gone, or not shown to you"
LONGEST = 240


@dataclass
class Told:
    """One change, ready to be shown."""

    change: Change
    who: str
    did: str
    group: str
    details: list = field(default_factory=list)
    places: list = field(default_factory=list)
    private: bool = False

    @property
    def listed(self):
        """True when there is so much to say that it is set line by line."""
        return len(self.details) > 1

    @property
    def because(self):
        return self.change.reason.rstrip(". ")

    @property
    def sentence(self):
        """'Ida Ashgrove changed the left-ear tattoo from A1 to A11, because: misread.'"""
        more = f": {'; '.join(self.details)}" if self.details else ""
        why = f", because: {self.because}" if self.because else ""
        return f"{self.who} {self.did}{more}{why}."


def tell(changes, reader):
    """The changes as Told, in their order; one query for each kind of name in them, however many they are."""
    changes = list(changes)
    names = _names(changes, reader)
    return [Telling(change, names, reader).told() for change in changes]


class Telling:
    """One change beside the names; what `noun` and `tell` of a remembered model are given."""

    def __init__(self, change, names, reader):
        self.change, self.names, self.reader = change, names, reader
        self.spec = REMEMBERED.get(change.label)
        self.made, self.removed = change.action == Action.MADE, change.action == Action.REMOVED

    def told(self):
        member = self.change.member_id
        who = capfirst(self.name(Member, member)) if member else SYSTEM
        did, details = self._did()
        group = self.spec.group if self.spec else self.change.label
        return Told(self.change, who, did, group, details, self._places(), self.change.audience == Audience.KEEPERS)

    def name(self, model, key):
        """What a row is called now, as far as the reader may see it."""
        row = self.names[model].get(key)
        if row is None:
            return NOT_SHOWN if model is not Member else FORMER
        return FORMER if model is Member and not row.name else str(row)

    def tied(self, key):
        """The name of the animal or herd of the change, or ''."""
        row = self._tied_row(key)
        return str(row) if row is not None else ""

    def about(self, column):
        """What the row was known by before, in words."""
        return self._words(column, self.change.about.get(column))

    def pair(self, column):
        """(before, after) of a column in words, '' for nothing; two '' when it stayed."""
        before, after = self.change.changed.get(column) or (None, None)
        return self._words(column, before), self._words(column, after)

    def noun(self):
        if self.spec is None:
            return f"{self.change.label} {self.change.object_id}"
        if callable(self.spec.noun):
            return self.spec.noun(self)
        return self.spec.noun.format(**{column: self.about(column) for column in self.change.about})

    def _did(self):
        if self.spec and self.spec.tell and (words := self.spec.tell(self)):
            return words, []
        if self.made:
            return f"added {self.noun()}", []
        columns = [column for column in self.change.changed if not self._is_reason(column)]
        if self.removed:
            held = [f"{self._label(column)}: {words}" for column in columns if (words := self._held(column))]
            return f"removed {self.noun()}" + (", which held" if held else ""), held
        if self.spec and columns == [self.spec.itself]:
            return f"changed {self._bare_noun()}{self._from_to(columns[0])}", []
        return f"changed {self.noun()}", [f"{self._label(column)}{self._from_to(column)}" for column in columns]

    def _held(self, column):
        """A value of a removed row, unless the noun or a place says it already."""
        found = _field(self.change.label, column)
        said = column in self.change.about or (found is not None and found.is_relation)
        return "" if said else self.pair(column)[0]

    def _places(self):
        """What the change stands on, for links: the animal, the herd, and the look, litter or edition."""
        rows = [self._tied_row("animal"), self._tied_row("herd")]
        for label, key in _homes(self.change):
            rows.append(self.names[apps.get_model(label)].get(key))
        return [row for row in rows if row is not None]

    def _is_reason(self, column):
        return column == "reason" and self.pair(column)[1] == self.change.reason != ""

    def _bare_noun(self):
        """The noun without the thing itself: 'the left-ear tattoo', since its text follows."""
        words = self.about(self.spec.itself)
        return self.noun().removesuffix(f" {words}") if words else self.noun()

    def _from_to(self, column):
        if not self.change.changed[column]:  # its values are not kept
            return ""
        before, after = self.pair(column)
        return f" from {before or NOTHING} to {after or NOTHING}"

    def _label(self, column):
        found = _field(self.change.label, column)
        return str(found.verbose_name) if found is not None else column.removesuffix("_id").replace("_", " ")

    def _words(self, column, value):
        if value in (None, "", []):
            return ""
        if self.spec and (unit := self.spec.units.get(column)):
            return unit(value, self.reader)
        found = _field(self.change.label, column)
        if found is not None and found.is_relation:
            return self.name(found.related_model, value)
        return _plain(found, value)

    def _tied_row(self, key):
        value = getattr(self.change, f"{key}_id")
        return self.names[apps.get_model(TIES[key])].get(value) if value and key in TIES else None


def _field(label, column):
    """The model's field behind a column, or None when the model has it no longer."""
    try:
        return next((each for each in apps.get_model(label)._meta.concrete_fields if each.attname == column), None)
    except LookupError:
        return None


def _plain(found, value):
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_plain(getattr(found, "base_field", None), each) for each in value)
    if found is not None and found.choices:
        return str(dict(found.flatchoices).get(value, value))
    if isinstance(found, models.DateTimeField) and (moment := parse_datetime(value)):
        return moment_words(moment)
    if isinstance(found, models.DateField) and (day := parse_date(value)):
        return day_words(day)
    text = f"{value:g}" if isinstance(value, float) else " ".join(str(value).split())
    text = text if len(text) <= LONGEST else f"{text[:LONGEST]}…"
    return f"“{text}”" if isinstance(found, models.TextField) else text


def day_words(day: date):
    return date_format(day, "j F Y")


def moment_words(moment):
    return date_format(timezone.localtime(moment), "j F Y, H:i")


def _homes(change):
    """(model's label, key) of the row that has a page of its own: the changed one, or the one it hangs on."""
    for label, key in ((change.label, change.object_id), (change.parent, change.parent_id)):
        model = REMEMBERED[label].model if label in REMEMBERED else Member
        if model is not Member and label not in TIES.values() and hasattr(model, "get_absolute_url"):
            yield label, key


def _names(changes, reader):
    """{model: {key: row}} of every row that the changes name, those left out that the reader may not see."""
    wanted: dict[Any, set] = defaultdict(set)
    for change in changes:
        wanted[Member] |= {change.member_id, change.person_id}
        if change.label == Member._meta.label_lower:
            wanted[Member].add(change.object_id)
        for key, label in TIES.items():
            wanted[apps.get_model(label)].add(getattr(change, f"{key}_id"))
        for label, key in _homes(change):
            wanted[apps.get_model(label)].add(key)
        for column, value in [*change.about.items(), *change.changed.items()]:
            found = _field(change.label, column)
            if found is not None and found.is_relation:
                wanted[found.related_model] |= set(value if isinstance(value, list) else [value])
    names: dict[Any, dict] = defaultdict(dict)
    for model, keys in wanted.items():
        if keys := keys - {None}:
            names[model] = _rows(model, reader).in_bulk(keys)
    return names


def _rows(model, reader):
    rows = model.objects.visible_to(reader) if hasattr(model.objects, "visible_to") else model._base_manager.all()
    spec = REMEMBERED.get(model._meta.label_lower)
    return rows.select_related(*spec.named_with) if spec and spec.named_with else rows
