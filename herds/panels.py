"""Places on the animal's and the herd's pages that apps above this one fill; this app knows none of them."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class AnimalPanel:
    """A part of the animal page: `context(request, animal)` gives the template's values, or None to leave it out.

    `animal.is_kept` is True on the page of its keeper. Orders in use: looks 10, photos 20, reviews 25, progeny 30,
    lines 35, weights 40, decisions 50, quarantine 60, transfers 70, identity 80.
    """

    name: str
    title: str
    order: int
    template: str
    context: Callable[[Any, Any], dict | None]


@dataclass(frozen=True)
class HerdColumn:
    """A column of animal lists: an annotation, how it sorts, and how its cell is drawn (template gets `animal`).

    `annotate(queryset, member)` returns the queryset with whatever `template` and `sort` read; it must add no query
    per row and show the member nothing they may not see. `text(animal)` is the cell in a CSV file; without it the
    drawn cell's words are taken. `on_phone` is False where the narrow list leaves the column out.
    `shown(herd, member)` is False where the member may see nothing of it, and the column is left out.
    """

    name: str
    title: str
    order: int
    template: str
    annotate: Callable[[Any, Any], Any]
    sort: str = ""
    text: Callable[[Any], str] | None = None
    on_phone: bool = True
    shown: Callable[[Any, Any], bool] | None = None


@dataclass(frozen=True)
class AnimalAction:
    """A button on the animal page: `url(request, animal)` gives its address, or None to leave it out."""

    name: str
    title: str
    order: int
    url: Callable[[Any, Any], str | None]
    icon: str = ""


@dataclass(frozen=True)
class AnimalTie:
    """Something that stands on an animal's identity: `sentence(animal, member)` says what, or is empty."""

    name: str
    sentence: Callable[[Any, Any], str]


@dataclass
class Places:
    panels: dict[str, AnimalPanel] = field(default_factory=dict)
    columns: dict[str, HerdColumn] = field(default_factory=dict)
    actions: dict[str, AnimalAction] = field(default_factory=dict)
    ties: dict[str, AnimalTie] = field(default_factory=dict)


PLACES = Places()


def register(part):
    """Add a panel, column, action or tie; the same name replaces, so that a reload adds nothing twice."""
    kinds = {
        AnimalPanel: PLACES.panels,
        HerdColumn: PLACES.columns,
        AnimalAction: PLACES.actions,
        AnimalTie: PLACES.ties,
    }
    kinds[type(part)][part.name] = part


def animal_panels(request, animal):
    """The (panel, context) pairs to draw on the animal's page, in order."""
    ordered = sorted(PLACES.panels.values(), key=lambda panel: panel.order)
    found = ((panel, panel.context(request, animal)) for panel in ordered)
    return [(panel, context) for panel, context in found if context is not None]


def animal_actions(request, animal):
    """The (action, address) pairs of the animal's page, in order."""
    ordered = sorted(PLACES.actions.values(), key=lambda action: action.order)
    found = ((action, action.url(request, animal)) for action in ordered)
    return [(action, url) for action, url in found if url]


def herd_columns(herd, member):
    """The columns that other apps add to the list of a herd's animals, as far as the member may see them, in order."""
    ordered = sorted(PLACES.columns.values(), key=lambda column: column.order)
    return [column for column in ordered if column.shown is None or column.shown(herd, member)]


def animal_ties():
    """What other apps know to stand on an animal's identity."""
    return list(PLACES.ties.values())
