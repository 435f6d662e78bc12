"""The calendar feed: what is in it, that it is valid iCalendar (RFC 5545), and who may read it."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
import time_machine
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clubsite.members.actions.members import close_account, deactivate
from clubsite.members.models import Club
from herds.actions.feeds import make_feed_address, revoke_feed_address
from herds.actions.today import dismiss_line
from herds.calendar import due
from herds.calendar.ical import calendar_of, stamped
from herds.calendar.load import load_rows
from herds.calendar.task import Task
from herds.models import FeedAddress, Mating

from .factories import make_animal, make_health_note, make_litter, make_mating, make_member

SITE = "https://registry.example"


@pytest.fixture
def token(cast):
    return make_feed_address(by=cast.keeper)[1]


@pytest.fixture
def busy(cast):
    """A barn with something of each kind to do."""
    today = timezone.localdate()
    make_mating(cast.dam, cast.sire, mated_on=today - timedelta(days=5))
    make_litter(cast.daughter, cast.sire, kits=3, born_on=today - timedelta(days=18))
    make_health_note(
        cast.sire, seen="secret cough", done="secret drops", on=today - timedelta(days=3),
        withdrawal_until=today + timedelta(days=9), follow_up_on=today - timedelta(days=1),
    )  # fmt: skip
    return cast


def read(token, client=None, **headers):
    return (client or Client()).get(reverse("feed", args=[token]), headers=headers)


def events(response):
    return list(icalendar.Calendar.from_ical(response.content).walk("VEVENT"))


def unfolded(content):
    """Content lines after unfolding: RFC 5545, 3.1."""
    return content.decode().replace("\r\n ", "").split("\r\n")


def test_the_feed_has_what_today_lists_and_more_days_ahead_without_a_session(busy, token):
    response = read(token)
    assert response.status_code == 200
    assert response["Content-Type"] == "text/calendar; charset=utf-8"  # RFC 5545, 8.1
    assert not response.cookies
    titles = {str(event["summary"]) for event in events(response)}
    assert titles >= {
        "Palpate A2 Birch",
        "Nest box in for A2 Birch",
        "A2 Birch is due to kindle",
        "Look again at A1 Slate (overdue)",
        "Last day of withdrawal for A1 Slate: not for the table",
        "Weigh the litter of A3 Alder, day 21",
    }


def test_what_was_seen_and_given_is_not_in_the_feed(busy, token):
    assert b"secret" not in read(token).content


def test_a_member_may_show_only_how_many_tasks_a_day_has(busy):
    _, token = make_feed_address(by=busy.keeper, words="count")
    content = read(token).content
    assert b"Herd work: " in content
    for word in (b"Birch", b"A2", b"Palpate", b"/matings/"):
        assert word not in content


def test_lines_end_as_the_standard_says_and_none_is_longer_than_75_octets(busy, token):
    content = read(token).content
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")  # RFC 5545, 3.1: CRLF after every line
    assert max(len(line) for line in content.split(b"\r\n")) <= 75  # RFC 5545, 3.1: folding, in octets


def test_long_words_and_signs_are_folded_and_escaped_and_come_back_whole():
    title = "Weigh the litter of Ÿsé, the \\ doe; of “Ashgrove”, " + "ä" * 80
    day = date(2026, 5, 3)
    task = Task(
        key="weigh-1-21", kind="weigh", when=day, window=(day, day), herd=1, subject="Ÿsé", title=title,
        detail="three kits,\nborn; today", url="/litters/1/",
    )  # fmt: skip
    calendar = calendar_of([task], today=day, name="Herd work", site=SITE, zone="UTC", full=True)
    content = stamped(calendar, timezone.now().replace(microsecond=0))
    assert max(len(line) for line in content.split(b"\r\n")) <= 75
    assert content.decode()  # no letter is cut in the middle
    lines = unfolded(content)
    (summary,) = [line for line in lines if line.startswith("SUMMARY:")]
    assert "\\\\ doe\\; of “Ashgrove”\\, " in summary  # RFC 5545, 3.3.11: backslash, semicolon, comma
    (description,) = [line for line in lines if line.startswith("DESCRIPTION:")]
    assert description == "DESCRIPTION:three kits\\,\\nborn\\; today"  # and a line break as \n
    (event,) = icalendar.Calendar.from_ical(content).walk("VEVENT")
    assert str(event["summary"]) == title
    assert str(event["description"]) == "three kits,\nborn; today"


def test_the_calendar_has_what_the_standard_requires(busy, token):
    calendar = icalendar.Calendar.from_ical(read(token).content)
    assert calendar["version"] == "2.0"  # RFC 5545, 3.7.4
    assert calendar["prodid"]  # RFC 5545, 3.7.3
    assert "method" not in calendar  # 3.7.2: with one, each event would need an organizer
    found = list(calendar.walk("VEVENT"))
    uids = [str(event["uid"]) for event in found]
    assert len(set(uids)) == len(uids) > 5  # 3.8.4.7: globally unique
    for event in found:
        start, end = event["dtstart"], event["dtend"]
        assert start.params["VALUE"] == end.params["VALUE"] == "DATE"  # 3.3.4
        assert end.dt - start.dt == timedelta(days=1)  # 3.6.1: the end is not part of the event
        stamp = event["dtstamp"].dt  # 3.6.1: required; 3.8.7.2: in UTC
        assert stamp.utcoffset() == timedelta(0)
        assert event["dtstamp"].to_ical().endswith(b"Z")


def test_a_calendar_with_nothing_due_still_has_a_component(db):
    """RFC 5545, 3.6: an iCalendar object includes at least one component."""
    content = stamped(
        calendar_of([], today=date(2026, 5, 3), name="Herd work", site=SITE, zone="Europe/Berlin", full=True),
        timezone.now(),
    )
    calendar = icalendar.Calendar.from_ical(content)
    assert [component.name for component in calendar.subcomponents] == ["VTIMEZONE"]
    token = make_feed_address(by=make_member("Ida Ashgrove"))[1]
    assert icalendar.Calendar.from_ical(read(token).content).subcomponents


def test_an_event_keeps_its_identity_from_day_to_day_and_under_a_new_address(busy, token):
    def uids(of):
        return {str(event["summary"]): str(event["uid"]) for event in events(read(of))}

    first = uids(token)
    with time_machine.travel(timezone.now() + timedelta(days=2), tick=False):
        second = uids(token)
    other = uids(make_feed_address(by=busy.keeper)[1])
    for title in ("Nest box in for A2 Birch", "A2 Birch is due to kindle"):
        assert first[title] == second[title] == other[title]


def test_what_is_overdue_stands_on_today_and_what_comes_on_its_own_day(busy, token):
    today = timezone.localdate()
    days = {str(event["summary"]): event["dtstart"].dt for event in events(read(token))}
    assert days["Look again at A1 Slate (overdue)"] == today
    assert days["Last day of withdrawal for A1 Slate: not for the table"] == today + timedelta(days=9)
    assert min(days.values()) == today


def test_today_is_the_clubs_day_not_the_servers(busy, token, settings):
    settings.TIME_ZONE = "Pacific/Auckland"
    evening = timezone.now().replace(hour=20, minute=0)
    with timezone.override(ZoneInfo("Pacific/Auckland")), time_machine.travel(evening, tick=False):
        assert min(event["dtstart"].dt for event in events(read(token))) == evening.date() + timedelta(days=1)


def test_a_line_put_aside_is_not_in_the_feed(busy, token):
    mating = Mating.objects.get(doe=busy.dam)
    dismiss_line(key=f"palpate-{mating.pk}", by=busy.keeper)
    assert "Palpate A2 Birch" not in {str(event["summary"]) for event in events(read(token))}


def test_an_unchanged_calendar_answers_304_and_a_changed_one_a_new_stamp(busy, token):
    start = timezone.now().replace(microsecond=0)
    with time_machine.travel(start, tick=False):
        first = read(token)
    with time_machine.travel(start + timedelta(minutes=5), tick=False):
        assert read(token, **{"If-None-Match": first["ETag"]}).status_code == 304
        assert read(token, **{"If-Modified-Since": first["Last-Modified"]}).status_code == 304
        assert read(token).content == first.content
        make_health_note(busy.dam, follow_up_on=timezone.localdate())
        changed = read(token, **{"If-None-Match": first["ETag"], "If-Modified-Since": first["Last-Modified"]})
    assert changed.status_code == 200
    assert changed["ETag"] != first["ETag"]
    stamps = {event["dtstamp"].dt for event in events(changed)}
    assert stamps == {start + timedelta(minutes=5)}


def test_no_cache_between_keeps_it_and_its_address_is_told_to_nobody(busy, token):
    for response in (read(token), read("nothing"), read(token, **{"If-None-Match": read(token)["ETag"]})):
        assert "private" in response["Cache-Control"]
        assert "public" not in response["Cache-Control"]
        assert response["Referrer-Policy"] == "no-referrer"
        assert response["X-Robots-Tag"] == "noindex"


def test_whatever_opens_nothing_is_answered_alike_in_a_plain_sentence(cast, token):
    answers = [read("no-such-token")]
    revoke_feed_address(by=cast.keeper)
    answers.append(read(token))
    second = make_feed_address(by=cast.keeper)[1]
    third = make_feed_address(by=cast.keeper)[1]
    answers.append(read(second))
    assert read(third).status_code == 200
    deactivate(member=cast.keeper, by=cast.officer)
    answers.append(read(third))
    for answer in answers:
        assert answer.status_code == 404
        assert answer["Content-Type"] == "text/plain; charset=utf-8"
        assert answer.content == answers[0].content
    assert b"make a new one" in answers[0].content


def test_a_closed_account_takes_its_addresses_along(cast):
    fellow_token = make_feed_address(by=cast.fellow)[1]
    close_account(member=cast.fellow, by=cast.fellow)
    assert read(fellow_token).status_code == 404
    assert not FeedAddress.objects.filter(member=cast.fellow).exists()


def test_the_feed_has_only_the_members_own_herds(busy):
    assert events(read(make_feed_address(by=busy.fellow)[1])) == []
    assert events(read(make_feed_address(by=busy.mentor)[1])) == []
    assert len(events(read(make_feed_address(by=busy.co_owner)[1]))) > 5


def test_the_table_holds_no_token_and_the_page_shows_the_address_once(cast):
    client = cast.client_of("keeper")
    made = client.post(reverse("feed-make"), {"words": "count"})
    assert made.status_code == 302
    page = client.get(made.url).content.decode()
    row = FeedAddress.objects.get(member=cast.keeper)
    assert row.words == "count"
    link = page.split('id="feed-link">')[1].split("<")[0]
    assert link.startswith(f"{settings.PUBLIC_URL}/calendar/")
    assert read(link.rsplit("/", 1)[1].removesuffix(".ics")).status_code == 200
    assert row.token_hash not in link
    assert link not in client.get(reverse("feed-address")).content.decode()


def test_the_page_says_when_it_was_read_last_and_revokes(cast, token):
    client = cast.client_of("keeper")
    assert "not yet" in client.get(reverse("feed-address")).content.decode()
    read(token)
    assert "not yet" not in client.get(reverse("feed-address")).content.decode()
    assert client.post(reverse("feed-revoke")).status_code == 302
    assert read(token).status_code == 404
    assert "Make my calendar address" in client.get(reverse("feed-address")).content.decode()


def test_the_feed_costs_the_same_for_one_mating_and_for_many(cast, token, django_assert_num_queries):
    for number in range(8):
        doe = make_animal(cast.herd, f"D{number}", sex="doe")
        make_mating(doe, cast.sire, mated_on=timezone.localdate() - timedelta(days=number))
        make_health_note(doe, follow_up_on=timezone.localdate())
    read(token)
    with django_assert_num_queries(10):  # nine of the log and one that notes the reading
        read(token)


def test_the_feed_looks_further_ahead_than_today_does(busy, token):
    later = {"A2 Birch is due to kindle", "Nest box in for A2 Birch"}
    assert later <= {str(event["summary"]) for event in events(read(token))}
    herds = [busy.herd]
    today = timezone.localdate()
    rows = load_rows(herds, today, Club.current())
    assert not later & {task.title for task in due(today, Club.current(), rows)}
