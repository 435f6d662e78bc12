"""Places on the member's pages that apps above this one fill; this app knows none of them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class DataFile:
    """One file of "take all my data": `rows(member)` yields lists in the order of `columns`; empty files are kept out.

    `name` is the file's name without its ending; `about` says in a sentence what is in it.
    """

    name: str
    about: str
    order: int
    columns: tuple[str, ...]
    rows: Callable[[Any], Iterable[list]]


@dataclass(frozen=True)
class Attachments:
    """Files that go beside the tables, such as photos: `files(member)` yields (path in the ZIP, open binary file)."""

    name: str
    about: str
    order: int
    files: Callable[[Any], Iterable[tuple[str, Any]]]


@dataclass(frozen=True)
class Leaving:
    """What an app does when an account is closed; it runs inside the closing's transaction.

    `explain(member)` gives sentences that the member reads first, `hindrance(member)` a sentence that forbids it.
    """

    name: str
    order: int
    carry_out: Callable[[Any, Any], None]
    explain: Callable[[Any], Iterable[str]] = lambda member: ()
    hindrance: Callable[[Any], str] = lambda member: ""


@dataclass(frozen=True)
class MemberPart:
    """A part of the members' pages: `fetch(members)` prepares a queryset without a query per row.

    `cell` is drawn in the list and `part` on the member's own page; each gets `member`.
    """

    name: str
    title: str
    order: int
    fetch: Callable[[Any], Any]
    cell: str
    part: str


@dataclass
class Places:
    files: dict[str, DataFile] = field(default_factory=dict)
    attachments: dict[str, Attachments] = field(default_factory=dict)
    leavings: dict[str, Leaving] = field(default_factory=dict)
    parts: dict[str, MemberPart] = field(default_factory=dict)


PLACES = Places()


def register(part):
    """Add a part; the same name replaces, so that a reload adds nothing twice."""
    kinds: dict[type, dict] = {
        DataFile: PLACES.files,
        Attachments: PLACES.attachments,
        Leaving: PLACES.leavings,
        MemberPart: PLACES.parts,
    }
    kinds[type(part)][part.name] = part


def in_order(parts):
    """The registered parts of one kind, in their order."""
    return sorted(parts.values(), key=lambda part: part.order)
