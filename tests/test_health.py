"""Health notes: whose they are, that they stay as written, and what a running withdrawal period asks."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from clubsite.errors import NotYours
from herds.actions import health as actions
from herds.actions.animals import change_status
from herds.actions.cautions import NotYetConfirmed
from herds.actions.decisions import decide
from herds.actions.transfers import accept_transfer, offer_animal
from herds.actions.withdrawals import running_withdrawals
from herds.models import Decision, Grant, HealthNote, Quarantine, Transfer

from .cast import PEOPLE
from .factories import make_animal, make_health_note, make_litter, make_member


def day(days):
    return timezone.localdate() + timedelta(days=days)


def said(days):
    return f"{day(days).day} {day(days):%B %Y}"


@pytest.fixture
def note(cast):
    return make_health_note(cast.dam, on=day(-2), withdrawal_until=day(9), no_show_until=day(3), follow_up_on=day(1))


SENT = {
    "seen": "Sneezes, a wet nose",
    "done": "Drops, as the vet said",
    "dose": "1 drop, twice a day",
    "vet_asked": "on",
}


def test_a_note_is_written_on_one_screen_and_stands_on_the_animals_page(cast):
    client = cast.client_of("co_owner")
    sent = SENT | {"on": day(-1), "withdrawal_until": day(9), "follow_up_on": day(2)}
    answer = client.post(reverse("health-create", args=[cast.dam.pk]), sent)
    assert answer.url == f"{cast.dam.get_absolute_url()}#panel-health"
    row = HealthNote.objects.get()
    assert (row.herd, row.logged_by, row.dose, row.vet_asked) == (cast.herd, cast.co_owner, "1 drop, twice a day", True)
    page = client.get(cast.dam.get_absolute_url()).content.decode()
    for words in (
        "Sneezes, a wet nose",
        f"not for the table until {said(9)}",
        f"look again on {said(2)}",
        "a vet was asked",
    ):
        assert words in page


def test_a_litter_has_notes_too(cast):
    litter = make_litter(cast.dam, cast.sire, kits=4)
    client = cast.client_of("keeper")
    answer = client.post(reverse("litter-health-create", args=[litter.pk]), SENT | {"on": day(0)})
    assert answer.url == f"{litter.get_absolute_url()}#health"
    assert "Sneezes, a wet nose" in client.get(litter.get_absolute_url()).content.decode()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"seen": "  "}, "Say what was seen."),
        ({"on": "tomorrow"}, "There is no such day."),
        ({"on": 1}, "lies in the future"),
        ({"withdrawal_until": -3}, "Choose a later day."),
        ({"follow_up_on": -3}, "Choose a later day."),
        ({"seen": "x" * 501}, "at most 500 characters"),
    ],
)
def test_a_note_that_makes_no_sense_is_refused_and_what_was_typed_stays(cast, changes, sentence):
    sent = (
        SENT
        | {"on": day(-1)}
        | {name: day(value) if isinstance(value, int) else value for name, value in changes.items()}
    )
    answer = cast.client_of("keeper").post(reverse("health-create", args=[cast.dam.pk]), sent)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "1 drop, twice a day" in answer.content.decode()
    assert not HealthNote.objects.exists()


@pytest.mark.parametrize(
    "given",
    [
        {"seen": ""}, {"on": 3}, {"ended_on": -5}, {"ended_on": 3}, {"withdrawal_until": -5}, {"no_show_until": -5},
        {"follow_up_on": -5}, {"followed_up_on": 0}, {"struck_out": True}, {"correction_reason": "misread"},
        {"on": -900},
    ],
)  # fmt: skip
def test_the_database_refuses_a_note_that_makes_no_sense(cast, given):
    given = {"on": day(-2)} | {name: day(value) if type(value) is int else value for name, value in given.items()}
    with pytest.raises(IntegrityError), transaction.atomic():
        make_health_note(cast.dam, **given)


@pytest.mark.parametrize("column", ["seen", "done", "dose", "withdrawal_until", "animal_id"])
def test_the_database_keeps_what_was_written(cast, note, column):
    value = "NULL" if column == "withdrawal_until" else str(cast.sire.pk) if column == "animal_id" else "'else'"
    with pytest.raises(Exception, match="Cannot update"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE herds_healthnote SET {column} = {value}")  # noqa: S608 - names from this test
    HealthNote.objects.update(ended_on=day(0))


def test_a_correction_is_a_new_note_and_the_old_one_stays_readable(cast, note):
    client = cast.client_of("keeper")
    sent = SENT | {"on": day(-2), "seen": "Sneezes, the nose is dry", "reason": "seen wrongly"}
    assert client.post(reverse("health-correct", args=[note.pk]), sent).status_code == 302
    (standing,) = HealthNote.objects.standing()
    assert (standing.seen, standing.corrects, standing.withdrawal_until) == ("Sneezes, the nose is dry", note, None)
    page = client.get(cast.dam.get_absolute_url()).content.decode()
    for words in ("Sneezes, the nose is dry", "1 earlier version", "Corrected: seen wrongly", "Sneezes, a wet nose"):
        assert words in page
    with pytest.raises(ValidationError, match="already corrected"):
        actions.correct_note(note=note, by=cast.keeper, reason="again", seen="else")
    with pytest.raises(IntegrityError), transaction.atomic():
        make_health_note(cast.dam, on=day(-2), corrects=note, correction_reason="again")


def test_a_note_by_mistake_is_struck_out_and_counts_no_more(cast, note):
    assert running_withdrawals([cast.dam])
    sent = SENT | {"on": day(-2), "reason": "it was A1", "strike_out": "on"}
    cast.client_of("keeper").post(reverse("health-correct", args=[note.pk]), sent)
    assert not HealthNote.objects.standing().exists()
    assert not running_withdrawals([cast.dam])
    page = cast.client_of("keeper").get(cast.dam.get_absolute_url()).content.decode()
    assert "<s>Sneezes, a wet nose</s>" in page
    assert "it was A1" in page


def test_a_note_is_ended_and_opened_again_and_its_withdrawal_runs_on(cast, note):
    client = cast.client_of("keeper")
    client.post(reverse("health-end", args=[note.pk]))
    client.post(reverse("health-end", args=[note.pk]))
    note.refresh_from_db()
    assert note.ended_on == day(0)
    assert running_withdrawals([cast.dam]) == [(cast.dam, day(9), day(3))]
    client.post(reverse("health-reopen", args=[note.pk]))
    note.refresh_from_db()
    assert note.ended_on is None


def test_health_is_read_by_the_owners_and_by_a_mentor_whose_grant_says_so(cast, note):
    def readers():
        return {
            who for who in PEOPLE
            if who != "visitor"
            and b"Sneezes" in cast.client_of(who).get(cast.dam.get_absolute_url()).content
            and cast.client_of(who).get(reverse("herd-health", args=[cast.herd.slug])).status_code == 200
        }  # fmt: skip

    assert readers() == {"keeper", "co_owner"}
    Grant.objects.update(with_log=True)
    assert readers() == {"keeper", "co_owner"}
    Grant.objects.update(with_health=True)
    assert readers() == {"keeper", "co_owner", "mentor"}
    page = cast.client_of("mentor").get(reverse("herd-health", args=[cast.herd.slug])).content.decode()
    assert "In quarantine" not in page
    assert cast.client_of("mentor").post(reverse("health-end", args=[note.pk])).status_code == 404
    Grant.objects.update(ends_on=day(-1), starts_on=day(-9))
    assert readers() == {"keeper", "co_owner"}


def test_the_grant_form_opens_health_notes_only_when_ticked(cast):
    grant = Grant.objects.get(mentor=cast.mentor)
    client = cast.client_of("keeper")
    client.post(reverse("grant-update", args=[grant.pk]), {"ends_on": day(30), "with_health": "on"})
    grant.refresh_from_db()
    assert (grant.with_health, grant.with_log) == (True, False)
    assert b"reads health notes" in client.get(reverse("grant-list")).content


def test_another_herds_keeper_neither_writes_nor_changes_notes(cast, note):
    with pytest.raises(ValidationError):
        actions.write_note(animal=cast.dam, by=cast.fellow, seen="mine")
    with pytest.raises(NotYours):
        actions.write_note(litter=make_litter(cast.dam), by=cast.fellow, seen="mine")
    for write in (actions.end_note, actions.reopen_note, actions.look_again, actions.take_look_back):
        with pytest.raises(NotYours):
            write(note=note, by=cast.fellow)
    with pytest.raises(NotYours):
        actions.correct_note(note=note, by=cast.fellow, reason="why", seen="else")


# What leaves while a withdrawal period runs


def steps(cast):
    """What asks first, by name."""
    return {
        "let go": lambda **more: decide(
            animals=[cast.sire, cast.dam], verdict="let_go", reason="size", by=cast.keeper, **more
        ),
        "table": lambda **more: change_status(animals=[cast.dam], status="table", by=cast.keeper, **more),
        "sold": lambda **more: change_status(animals=[cast.dam], status="moved_on", by=cast.keeper, **more),
        "offer": lambda **more: offer_animal(animal=cast.dam, to_herd=cast.other_herd, by=cast.keeper, **more),
    }


@pytest.mark.parametrize("step", ["let go", "table", "sold", "offer"])
def test_leaving_asks_first_while_a_withdrawal_period_runs(cast, note, step):
    take = steps(cast)[step]
    with pytest.raises(NotYetConfirmed) as question:
        take()
    (words,) = [caution.text for caution in question.value.cautions]
    assert "A2 Birch" in words
    assert f"not for the table until {said(9)}, not for showing until {said(3)}" in words
    assert "Ask your vet; the law where you live decides." in words
    assert not Decision.objects.exists()
    assert not Transfer.objects.exists()
    cast.dam.refresh_from_db()
    assert cast.dam.is_here
    with pytest.raises(NotYetConfirmed):
        take(confirmed="something else")
    assert take(confirmed=question.value.token)


@pytest.mark.parametrize("step", ["let go", "table", "sold", "offer"])
def test_nothing_is_asked_when_none_runs(cast, step):
    make_health_note(cast.dam, on=day(-20), withdrawal_until=day(-1))
    make_health_note(cast.dam, herd=cast.other_herd, withdrawal_until=day(5))  # an earlier owner's
    assert steps(cast)[step]()


def test_keeping_an_animal_or_its_death_asks_nothing(cast, note):
    assert decide(animals=[cast.dam], verdict="keep", by=cast.keeper)
    assert change_status(animals=[cast.dam], status="died", by=cast.keeper)


def test_a_litters_withdrawal_counts_for_the_animals_born_in_it(cast):
    litter = make_litter(cast.dam, cast.sire, born_on=day(-60))
    young = make_animal(cast.herd, "Y1", born_on=day(-60), litter=litter)
    sold = make_animal(cast.other_herd, "Y2", born_on=day(-60), litter=litter)
    make_health_note(litter=litter, on=day(-2), withdrawal_until=day(4))
    assert running_withdrawals([young, sold, cast.dam]) == [(young, day(4), None)]


@pytest.mark.parametrize(
    ("name", "sent"),
    [
        ("decision-create", {"verdict": "let_go", "reason": "size", "decided_on": day(0)}),
        ("animal-status", {"status": "table", "on": day(0)}),
        ("transfer-create", {"on": day(0)}),
    ],
)
def test_the_pages_show_the_question_and_go_on_when_it_is_answered(cast, note, name, sent):
    client, url = cast.client_of("keeper"), reverse(name, args=[cast.dam.pk])
    sent = sent | ({"to_herd": cast.other_herd.pk} if name == "transfer-create" else {})
    asked = client.post(url, sent)
    assert asked.status_code == 422
    text = asked.content.decode()
    assert "Not saved yet. Please read this:" in text
    assert f"not for the table until {said(9)}" in text
    token = text.split('name="confirmed" value="')[1].split('"')[0]
    assert client.post(url, sent | {"confirmed": token}).status_code == 302


def test_the_bulk_pages_ask_too(cast, note):
    client = cast.client_of("keeper")
    both = {"animal": [cast.sire.pk, cast.dam.pk]}
    for name, sent in (
        ("herd-decide", {"verdict": "let_go", "reason": "size"}),
        ("herd-status", {"status": "table", "on": day(0)}),
    ):
        url = reverse(name, args=[cast.herd.slug])
        asked = client.post(url, sent | both)
        assert asked.status_code == 422
        token = asked.content.decode().split('name="confirmed" value="')[1].split('"')[0]
        assert client.post(url, sent | both | {"confirmed": token}).status_code == 302


# What the new owner is told


def offered(cast, note, **more):
    with pytest.raises(NotYetConfirmed) as question:
        offer_animal(animal=cast.dam, to_herd=cast.other_herd, by=cast.keeper)
    return offer_animal(
        animal=cast.dam, to_herd=cast.other_herd, by=cast.keeper, confirmed=question.value.token, **more
    )


def test_the_buyer_reads_the_withdrawal_days_and_only_the_notes_that_the_seller_agreed_to(cast, note):
    shown = make_health_note(cast.dam, seen="An old scar", on=day(-90))
    transfer = offered(cast, note, health_notes=[shown])
    page = cast.client_of("fellow").get(reverse("transfer-detail", args=[transfer.pk])).content.decode()
    assert f"not for the table until {said(9)}, not for showing until {said(3)}" in page
    assert "An old scar" in page
    assert "Sneezes" not in page
    assert "Sneezes" not in cast.client_of("fellow").get(cast.dam.get_absolute_url()).content.decode()


def test_the_new_owner_does_not_inherit_and_the_withdrawal_goes_on_in_their_own_notes(cast, note):
    accept_transfer(transfer=offered(cast, note), by=cast.fellow)
    cast.dam.refresh_from_db()
    page = cast.client_of("fellow").get(cast.dam.get_absolute_url()).content.decode()
    assert "Sneezes" not in page
    assert "as Ashgrove said at the transfer" in page
    assert running_withdrawals([cast.dam]) == [(cast.dam, day(9), day(3))]
    assert b"Sneezes" in cast.client_of("keeper").get(reverse("herd-health", args=[cast.herd.slug])).content


def test_a_seller_offers_notes_of_their_own_herd_only(cast):
    theirs = make_health_note(cast.dam, herd=cast.other_herd, seen="an earlier owner's")
    another = make_health_note(cast.sire, seen="another animal's")
    transfer = offer_animal(animal=cast.dam, to_herd=cast.other_herd, by=cast.keeper, health_notes=[theirs, another])
    assert not transfer.health_notes.exists()


# The herd's page, and today


def test_the_herds_page_says_what_runs_now(cast, note):
    Quarantine.objects.create(animal=cast.sire, planned_until=day(20), reason="back from a show")
    Quarantine.objects.create(animal=cast.daughter, started_on=day(-40), planned_until=day(-10))
    gone = make_animal(cast.herd, "G1", status="died")
    make_health_note(gone, seen="was unwell", withdrawal_until=day(5))
    page = cast.client_of("keeper").get(reverse("herd-health", args=[cast.herd.slug])).content.decode()
    now, notes = page.split('id="all-notes"')
    for words in (said(9), said(3), "A1 Slate", "back from a show", "which is past", "rabbit haemorrhagic disease"):
        assert words in page
    assert "was unwell" in notes
    assert "was unwell" not in now


def test_an_empty_health_page_says_so(cast):
    page = cast.client_of("fellow").get(reverse("herd-health", args=[cast.other_herd.slug])).content.decode()
    for words in ("None is written down.", "Nothing is open.", "No animal is in quarantine.", "None yet."):
        assert words in page


def test_the_health_page_costs_the_same_for_one_note_and_for_many(cast, note, django_assert_num_queries):
    client, url = cast.client_of("keeper"), reverse("herd-health", args=[cast.herd.slug])
    client.get(url)
    counts = []
    for turn in "DE":
        with django_assert_num_queries(12):
            counts.append(len(client.get(url).content))
        for number in range(10):
            doe = make_animal(cast.herd, f"{turn}{number}", sex="doe")
            make_health_note(doe, withdrawal_until=day(3), follow_up_on=day(1))
            Quarantine.objects.create(animal=doe, planned_until=day(20))
    assert counts[1] > counts[0]


def test_today_lists_follow_ups_and_last_days_and_logs_the_look(cast, note):
    HealthNote.objects.update(ended_on=None)
    client = cast.client_of("keeper")
    make_health_note(cast.sire, seen="limps", follow_up_on=day(0), withdrawal_until=day(2))
    page = client.get(reverse("today")).content.decode()
    for words in (
        "Look again at A1 Slate", "noted on", "limps", "Last day of withdrawal for A1 Slate: not for the table",
        "Last day of withdrawal for A2 Birch: not for showing",
    ):  # fmt: skip
        assert words in page
    row = HealthNote.objects.get(seen="limps")
    key = f"follow_up-{row.pk}"
    client.post(reverse("today-done", args=[key]))
    row.refresh_from_db()
    assert row.followed_up_on == day(0)
    client.get(reverse("today"))  # which tells what was done
    assert "Look again at A1" not in client.get(reverse("today")).content.decode()
    client.post(reverse("today-undo", args=[key]))
    assert "Look again at A1" in client.get(reverse("today")).content.decode()
    client.post(reverse("today-dismiss", args=[f"withdrawal-{row.pk}"]))
    assert cast.client_of("fellow").post(reverse("today-done", args=[key])).status_code == 404


def test_a_corrected_or_ended_note_and_an_animal_that_left_ask_for_no_look(cast):
    first = make_health_note(cast.sire, seen="limps", follow_up_on=day(0))
    actions.correct_note(note=first, by=cast.keeper, reason="moved", seen="limps", follow_up_on=day(1))
    ended = make_health_note(cast.dam, follow_up_on=day(0))
    actions.end_note(note=ended, by=cast.keeper)
    gone = make_animal(cast.herd, "G1", status="died")
    make_health_note(gone, follow_up_on=day(0))
    page = cast.client_of("keeper").get(reverse("today")).content.decode()
    assert page.count('class="today-title"') == 1
    assert "Look again at A1 Slate" in page


def test_members_take_their_health_notes_along(cast, note):
    import io
    import zipfile

    def files(who):
        answer = cast.client_of(who).post(reverse("account-data"))
        return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))

    assert "Sneezes, a wet nose" in files("keeper").read("health-notes.csv").decode()
    assert "health-notes.csv" not in files("fellow").namelist()


def test_a_youths_guardian_reads_the_youths_notes(cast):
    youth = make_member("Pip Ashgrove", guardian=cast.fellow)
    from .factories import make_herd

    herd = make_herd(youth, name="Small")
    row = make_health_note(make_animal(herd, "P1"))
    assert HealthNote.objects.visible_to(cast.fellow).get() == row
