"""What is added, removed and changed between two editions, ready to read."""

from dataclasses import dataclass, field

from .words import Item, Names, told


@dataclass(frozen=True)
class Change:
    """A label with what stood there before and what stands there now; '' for nothing."""

    label: str
    before: str
    now: str


@dataclass
class SectionChanges:
    """The differences of one section: items added and removed, and (title, changes) of those that stayed."""

    title: str
    added: list[Item] = field(default_factory=list)
    removed: list[Item] = field(default_factory=list)
    changed: list[tuple[str, list[Change]]] = field(default_factory=list)
    order: Change | None = None

    def __bool__(self):
        return bool(self.added or self.removed or self.changed or self.order)


def compared(before, now, unit):
    """SectionChanges of two documents; only of sections that differ."""
    names = Names(before, now)
    old, new = told(before, names, unit), told(now, names, unit)
    return [found for title in new if (found := section_changes(title, old[title], new[title]))]


def section_changes(title, old, new):
    """The SectionChanges of one section's items."""
    found = SectionChanges(title)
    found.added = [item for key, item in new.items() if key not in old]
    found.removed = [item for key, item in old.items() if key not in new]
    for key, item in new.items():
        if key in old and (changes := item_changes(old[key], item)):
            found.changed.append((item.title, changes))
    stayed_old, stayed_new = [k for k in old if k in new], [k for k in new if k in old]
    if stayed_old != stayed_new:
        found.order = Change("Order", _in_a_row(old, stayed_old), _in_a_row(new, stayed_new))
    return found


def item_changes(old, new):
    """The Changes of one item's facts."""
    labels = dict.fromkeys([*old.facts, *new.facts])
    pairs = [(label, old.facts.get(label, ""), new.facts.get(label, "")) for label in labels]
    return [Change(label, before, now) for label, before, now in pairs if before != now]


def _in_a_row(items, keys):
    return ", ".join(items[key].title for key in keys)
