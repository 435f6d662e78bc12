"""Lines of Today that apps above this one add: this app knows none of them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from .task import Task


@dataclass(frozen=True)
class TaskSource:
    """Tasks of an app above. `kinds` are the words before the first dash of their keys.

    `tasks(herds, today)` gives those of a list of herds in a fixed number of queries; `herd_of(key, member)` the herd
    in which the member may put such a line aside, or None; `errands(member)` what waits for the member themself.
    Their links answer them: they have no buttons that log, and stand in no calendar feed.
    """

    name: str
    kinds: tuple[str, ...]
    tasks: Callable[[list, Any], Iterable[Task]]
    herd_of: Callable[[str, Any], Any]
    errands: Callable[[Any], Iterable["Errand"]] = lambda member: ()


@dataclass(frozen=True)
class Errand:
    """Something that waits for the member, whatever herds they keep."""

    title: str
    detail: str
    url: str
    due: str = ""


SOURCES: dict[str, TaskSource] = {}


def register(source: TaskSource):
    """Add a source; the same name replaces, so that a reload adds nothing twice. Call it from ready()."""
    SOURCES[source.name] = source


def source_of(kind):
    """The source whose lines have this kind; None for the log's own."""
    return next((source for source in SOURCES.values() if kind in source.kinds), None)


def tasks_from_above(herds, today):
    """The tasks of these herds that apps above add."""
    return [task for source in SOURCES.values() for task in source.tasks(herds, today)] if herds else []


def errands_of(member):
    """What waits for the member themself."""
    return [errand for source in SOURCES.values() for errand in source.errands(member)]
