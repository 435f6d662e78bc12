"""Tasks as an iCalendar object (RFC 5545): all-day events that keep their identity from one reading to the next."""

import uuid
from collections import Counter
from datetime import date, datetime, timedelta

from icalendar import Calendar, Event, Timezone

from herds.words import count_words

from .task import State, Task

PRODUCT = "-//Argentry//Herd registry//EN"
REFRESH = timedelta(hours=1)


def calendar_of(tasks: list[Task], *, today: date, name: str, site: str, zone: str, full: bool):
    """The calendar of these tasks without its time stamps; `stamped` adds them.

    What is due already stands on today, what comes later on its own day. Where `full` is False a day says only how
    many tasks it has. `site` is the address of the registry, `zone` the club's time zone (IANA name).
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", name)  # RFC 7986, 5.1; programs before it read the other
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})  # RFC 7986, 5.7
    events = (_event_of(task, today, site) for task in tasks) if full else _counts(tasks, today, site)
    for event in events:
        calendar.add_component(event)
    if not calendar.subcomponents:
        # RFC 5545, 3.6: a calendar without any component is none.
        calendar.add_component(Timezone.from_tzid(zone, first_date=today, last_date=today + timedelta(days=366)))
    return calendar


def stamped(calendar, at: datetime) -> bytes:
    """The calendar as it is sent; `at` (UTC) is when its content was last changed."""
    for event in calendar.walk("VEVENT"):
        event.add("dtstamp", at)
        event.add("last-modified", at)
    return calendar.to_ical()


def _event_of(task, today, site):
    overdue = task.state(today) == State.OVERDUE
    event = _all_day(task.key, max(task.when, today), site)
    event.add("summary", f"{task.title} (overdue)" if overdue and not task.urgent else task.title)
    event.add("description", "\n".join(words for words in (task.detail, task.caution) if words))
    event.add("url", site + task.url)
    return event


def _counts(tasks, today, site):
    for day, number in sorted(Counter(max(task.when, today) for task in tasks).items()):
        event = _all_day(f"day-{day:%Y-%m-%d}", day, site)
        event.add("summary", f"Herd work: {count_words(number, 'task')}")
        yield event


def _all_day(key, day, site):
    """An event of one whole day, which keeps nobody from being invited; DTEND is the day after (RFC 5545, 3.6.1)."""
    event = Event()
    event.add("uid", str(uuid.uuid5(uuid.NAMESPACE_URL, f"{site}/tasks/{key}")))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    return event
