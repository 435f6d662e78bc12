"""The shapes of the calendar: rows of the log that go in, tasks that come out."""

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from django.urls import reverse


class State(StrEnum):
    """How a task stands to today; the words are those of the today list's looks."""

    OVERDUE = "overdue"
    DUE = "due"
    LATER = "later"


@dataclass(frozen=True)
class MatingRow:
    """A mating without a litter yet. `palpated_on` and `felt` are those of the last palpation."""

    pk: int
    herd: int
    doe: str
    doe_pk: int
    buck: str
    mated_on: date
    last_day: date
    palpated_on: date | None = None
    felt: str = ""
    nest_box_on: date | None = None


@dataclass(frozen=True)
class LitterRow:
    """A litter, how many kits are alive in its nest, and what was done for it."""

    pk: int
    herd: int
    dam: str
    dam_pk: int
    born_on: date
    alive: int
    carried_days: int | None = None
    checked: bool = False
    nest_box_out: bool = False
    weaned: bool = False
    weighed_on: tuple[date, ...] = ()
    dam_stays: bool = True
    dam_mated_since: bool = False


@dataclass(frozen=True)
class QuarantineRow:
    pk: int
    herd: int
    animal: str
    animal_pk: int
    planned_until: date


@dataclass(frozen=True)
class HealthRow:
    """A health note that asks for something on a day: to look again, or that a withdrawal period ends."""

    pk: int
    herd: int
    subject: str
    url: str
    on: date
    seen: str
    follow_up_on: date | None = None
    withdrawal_until: date | None = None
    no_show_until: date | None = None


@dataclass(frozen=True)
class Rows:
    matings: tuple[MatingRow, ...] = ()
    litters: tuple[LitterRow, ...] = ()
    quarantines: tuple[QuarantineRow, ...] = ()
    health: tuple[HealthRow, ...] = ()


@dataclass(frozen=True)
class Answer:
    """A button of one task: what is logged with today's date when it is pressed."""

    value: str
    label: str


@dataclass(frozen=True)
class Task:
    """One thing due: `when` it is best done, and the window in which it is in time.

    `private` is said on the member's own pages and goes into no calendar feed.
    """

    key: str
    kind: str
    when: date
    window: tuple[date, date]
    herd: int
    subject: str
    title: str
    detail: str
    url: str
    answers: tuple[Answer, ...] = ()
    link_url: str = ""
    link_label: str = ""
    caution: str = ""
    private: str = ""
    urgent: bool = field(default=False)

    @property
    def done_url(self):
        return reverse("today-done", args=[self.key]) if self.answers else ""

    @property
    def dismiss_url(self):
        return reverse("today-dismiss", args=[self.key])

    def state(self, today):
        if self.urgent or today > self.window[1]:
            return State.OVERDUE
        return State.DUE if today >= self.when else State.LATER
