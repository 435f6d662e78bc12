"""Invitations: the only way into the club."""

import re
import threading
from datetime import timedelta

import pytest
from allauth.account.models import EmailAddress
from django.core import mail
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clubsite.errors import NotYours
from clubsite.members.actions.invitations import InvitationGone, accept, forget, invite, resend, withdraw
from clubsite.members.models import Club, Invitation, Member

from .factories import make_member

GOOD = {
    "name": "Fenna  Larkfield",
    "region": "West Vale",
    "weight_unit": "kg",
    "password": "seven brass buckles",
    "again": "seven brass buckles",
}
TO_ACCEPT = {name: value for name, value in GOOD.items() if name != "again"}


@pytest.fixture
def officer(db):
    return make_member("Dilys Marchmont", is_officer=True)


@pytest.fixture
def as_officer(officer):
    client = Client()
    client.force_login(officer, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


@pytest.fixture
def invited(officer):
    """(invitation, token, address of the page) for Fenna."""
    invitation, token = invite(email="Fenna@Example.org", name="Fenna Larkfield", as_registrar=True, by=officer)
    return invitation, token, reverse("invitation-accept", args=[token])


# ---- Accepting ----


def test_whoever_holds_the_link_becomes_a_member_with_a_verified_address_and_is_signed_in(client, invited):
    invitation, _, link = invited
    assert client.get(link).status_code == 200
    response = client.post(link, GOOD)
    assert response.status_code == 302
    member = Member.objects.get(email="fenna@example.org")
    assert (member.name, member.region, member.weight_unit) == ("Fenna Larkfield", "West Vale", "kg")
    assert member.is_registrar
    assert not member.is_officer
    assert EmailAddress.objects.get(user=member).verified
    assert client.session["_auth_user_id"] == str(member.pk)
    invitation.refresh_from_db()
    assert invitation.accepted_by == member


def test_the_new_member_signs_in_with_e_mail_and_password(client, invited):
    client.post(invited[2], GOOD)
    client.logout()
    response = client.post(reverse("account_login"), {"login": "FENNA@example.org", "password": GOOD["password"]})
    assert response.status_code == 302
    assert "_auth_user_id" in client.session


def test_a_youth_is_tied_to_the_guardian(client, officer):
    guardian = make_member("Ida Ashgrove")
    _, token = invite(email="wren@example.org", guardian=guardian, by=officer)
    page = client.get(reverse("invitation-accept", args=[token]))
    assert "Ida Ashgrove" in page.content.decode()
    assert accept(token=token, **TO_ACCEPT).guardian == guardian


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"password": "short1", "again": "short1"}, "too short"),
        ({"password": "fenna larkfield", "again": "fenna larkfield"}, "too similar to the name"),
        ({"password": "password123", "again": "password123"}, "too common"),
        ({"again": "seven brass bangles"}, "The two passwords are not the same."),
        ({"name": "  "}, "This field is required."),
        ({"region": "12 Mill Lane"}, "This looks like an address."),
    ],
)
def test_a_form_with_a_mistake_says_so_keeps_the_words_and_makes_nobody(client, invited, changes, sentence):
    response = client.post(invited[2], {**GOOD, **changes})
    assert response.status_code == 422
    assert sentence in response.content.decode()
    assert Member.objects.count() == 1
    assert "pounds and ounces" in response.content.decode()
    assert invited[0].email in response.content.decode()


def dead_links(officer):
    """Tokens that open nothing, each for its own reason."""
    used = invite(email="used@example.org", by=officer)
    accept(token=used[1], **TO_ACCEPT)
    withdrawn = invite(email="withdrawn@example.org", by=officer)
    withdraw(invitation=withdrawn[0], by=officer)
    late = invite(email="late@example.org", by=officer)
    past = timezone.now() - timedelta(days=20)
    Invitation.objects.filter(pk=late[0].pk).update(made_at=past, expires_at=past + timedelta(days=14))
    member_since = invite(email="since@example.org", by=officer)
    make_member("Joined Otherwise", email="Since@example.org")
    again = invite(email="again@example.org", by=officer)
    resend(invitation=again[0], by=officer)
    return {
        "used": (used[1], 410),
        "withdrawn": (withdrawn[1], 410),
        "late": (late[1], 410),
        "since": (member_since[1], 410),
        "again": (again[1], 404),
        "wrong": (used[1][:-1] + ("A" if used[1][-1] != "A" else "B"), 404),
    }


def test_a_link_that_opens_nothing_says_one_thing_whatever_the_reason_and_names_nobody(officer):
    pages = set()
    for reason, (token, status) in dead_links(officer).items():
        for method in ("get", "post"):
            response = getattr(Client(), method)(reverse("invitation-accept", args=[token]), GOOD)
            assert response.status_code == status, (reason, method)
            text = re.sub(r'(csrfmiddlewaretoken" value=|X-CSRFToken": )"[^"]*"', "", response.content.decode())
            assert f"{reason}@" not in text.lower()
            pages.add(text)
    assert len(pages) == 1


def test_a_signed_in_member_is_told_to_sign_out_first(as_officer, invited):
    response = as_officer.get(invited[2])
    assert response.status_code == 409
    assert "fenna" not in response.content.decode().lower()
    assert as_officer.post(invited[2], GOOD).status_code == 409
    assert not Member.objects.filter(email="fenna@example.org").exists()


def test_accepting_locks_the_invitation(invited):
    with CaptureQueriesContext(
        connection,
    ) as queries:
        accept(token=invited[1], **TO_ACCEPT)
    assert any("FOR UPDATE" in each["sql"] and "members_invitation" in each["sql"] for each in queries)


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_of_two_who_accept_at_once_one_becomes_the_member():
    officer = make_member("Dilys Marchmont", is_officer=True)
    _, token = invite(email="fenna@example.org", by=officer)
    together, outcomes = threading.Barrier(2), []

    def try_it(name):
        try:
            together.wait(timeout=10)
            accept(token=token, **{**TO_ACCEPT, "name": name})
            outcomes.append("in")
        except InvitationGone:
            outcomes.append("gone")
        finally:
            connection.close()

    threads = [threading.Thread(target=try_it, args=(name,)) for name in ("First", "Second")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(outcomes) == ["gone", "in"]
    assert Member.objects.filter(email="fenna@example.org").count() == 1


# ---- Inviting ----


def test_the_officer_sees_the_link_once_and_the_letter_carries_it(as_officer, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        response = as_officer.post(reverse("invitation-create"), {"email": "Fenna@Example.org", "name": "Fenna"})
    invitation = Invitation.objects.get()
    assert invitation.email == "fenna@example.org"
    first = as_officer.get(response.url).content.decode()
    link = re.search(r"http://testserver/join/[\w-]+/", first)[0]
    assert "The link, shown once" in first
    assert link not in as_officer.get(response.url).content.decode()
    letter = mail.outbox[0]
    assert link in letter.body
    assert letter.to == ["fenna@example.org"]
    assert letter.subject == "You are invited to Our club"
    assert Client().get(link).status_code == 200


def test_only_the_hash_of_the_token_is_kept(invited):
    invitation, token, _ = invited
    row = Invitation.objects.filter(pk=invitation.pk).values().get()
    assert token not in str(row)
    assert invitation.token_hash != token


def test_the_letter_says_who_invites_and_nothing_of_the_registry(as_officer, django_capture_on_commit_callbacks):
    Club.current()
    Club.objects.update(name="Silver Vale Rabbit Club", is_demo=True)
    with django_capture_on_commit_callbacks(execute=True):
        as_officer.post(reverse("invitation-create"), {"email": "fenna@example.org", "name": "Fenna"})
    words = mail.outbox[0].body
    assert "Dear Fenna" in words
    assert "Silver Vale Rabbit Club" in words
    assert "the club is invented" in words
    assert "Dilys" not in words


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_when_the_post_fails_the_officer_is_told_to_pass_the_link_on(as_officer, settings):
    settings.EMAIL_BACKEND = "tests.test_people_invitations.BrokenPost"
    response = as_officer.post(reverse("invitation-create"), {"email": "fenna@example.org"})
    assert "The e-mail could not be sent." in as_officer.get(response.url).content.decode()
    assert Invitation.objects.count() == 1


class BrokenPost:
    """A post office that is shut."""

    def __init__(self, *args, **kwargs):
        pass

    def send_messages(self, letters):
        raise ConnectionRefusedError


def test_the_same_form_sent_twice_makes_one_invitation(as_officer):
    sent = {"email": "fenna@example.org", "submission_key": "9f1d5a2e-58d5-4f28-9a6e-0c4c7b1c2f11"}
    first = as_officer.post(reverse("invitation-create"), sent)
    second = as_officer.post(reverse("invitation-create"), sent)
    assert first.url == second.url
    assert Invitation.objects.count() == 1


def test_a_member_or_an_open_invitation_is_not_invited_again(as_officer, invited):
    member = make_member("Ida Ashgrove", email="ida@example.org")
    for email, sentence in (
        (member.email.upper(), "A member with this e-mail address is already in the club."),
        ("FENNA@example.org", "An invitation to this address is still open."),
        ("not an address", "Enter a valid email address."),
    ):
        response = as_officer.post(reverse("invitation-create"), {"email": email})
        assert response.status_code == 422
        assert sentence in response.content.decode()
    assert Invitation.objects.count() == 1


def test_a_youth_is_invited_without_office(officer):
    guardian = make_member("Ida Ashgrove")
    with pytest.raises(ValidationError, match="cannot be officer or registrar"):
        invite(email="wren@example.org", guardian=guardian, as_registrar=True, by=officer)


def test_the_days_of_an_invitation_come_from_the_clubs_settings(officer):
    Club.current()
    Club.objects.update(invitation_days=3)
    invitation, _ = invite(email="fenna@example.org", by=officer)
    assert timedelta(days=2, hours=23) < invitation.expires_at - timezone.now() <= timedelta(days=3)


def test_a_new_link_closes_the_old_one(as_officer, invited, django_capture_on_commit_callbacks):
    invitation, _, link = invited
    with django_capture_on_commit_callbacks(execute=True):
        response = as_officer.post(reverse("invitation-resend", args=[invitation.pk]))
    new = re.search(r"http://testserver(/join/[\w-]+/)", as_officer.get(response.url).content.decode())[1]
    assert new != link
    assert Client().get(link).status_code == 404
    assert Client().get(new).status_code == 200
    assert new in mail.outbox[-1].body


def test_an_invitation_that_ran_out_is_sent_again_with_new_days(officer):
    invitation, _ = invite(email="late@example.org", by=officer)
    past = timezone.now() - timedelta(days=20)
    Invitation.objects.update(made_at=past, expires_at=past + timedelta(days=14))
    _, token = resend(invitation=invitation, by=officer)
    assert accept(token=token, **TO_ACCEPT).email == "late@example.org"


def test_an_accepted_or_withdrawn_invitation_is_neither_sent_nor_withdrawn(as_officer, officer, invited):
    accept(token=invited[1], **TO_ACCEPT)
    other, _ = invite(email="other@example.org", by=officer)
    withdraw(invitation=other, by=officer)
    for invitation in (invited[0], other):
        for action in (resend, withdraw):
            with pytest.raises(ValidationError):
                action(invitation=invitation, by=officer)
        page = as_officer.post(reverse("invitation-withdraw", args=[invitation.pk]), follow=True)
        assert page.status_code == 200
    assert mail.outbox == []


def test_withdrawing_is_said_and_done(as_officer, invited):
    page = as_officer.post(reverse("invitation-withdraw", args=[invited[0].pk]), follow=True)
    assert "was withdrawn" in page.content.decode()
    assert Client().get(invited[2]).status_code == 410


def test_an_invitation_that_opens_nothing_is_deleted_with_its_address(as_officer, officer, invited):
    invitation, token, _ = invited
    url = reverse("invitation-forget", args=[invitation.pk])
    assert "Withdraw it first." in as_officer.post(url, follow=True).content.decode()
    withdraw(invitation=invitation, by=officer)
    assert (
        "Delete it and its address"
        in as_officer.get(reverse("invitation-detail", args=[invitation.pk])).content.decode()
    )
    as_officer.post(url)
    assert not Invitation.objects.exists()
    used, token = invite(email="used@example.org", by=officer)
    accept(token=token, **TO_ACCEPT)
    with pytest.raises(ValidationError, match="kept with its member"):
        forget(invitation=used, by=officer)
    with pytest.raises(NotYours):
        forget(invitation=used, by=make_member("Ida Ashgrove"))


def test_only_an_officer_invites(invited):
    member = make_member("Ida Ashgrove")
    former = make_member("Former Officer", is_officer=True, is_active=False)
    for by in (member, former):
        with pytest.raises(NotYours):
            invite(email="x@example.org", by=by)
        with pytest.raises(NotYours):
            resend(invitation=invited[0], by=by)
        with pytest.raises(NotYours):
            withdraw(invitation=invited[0], by=by)


def test_the_list_of_invitations_costs_the_same_for_many(as_officer, officer, django_assert_num_queries):
    for number in range(20):
        _, token = invite(email=f"p{number}@example.org", by=officer)
        if number % 2:
            accept(token=token, **TO_ACCEPT)
    with django_assert_num_queries(4):  # session, member, club, invitations
        as_officer.get(reverse("invitation-list"))


# ---- The first officer ----


def test_the_first_officer_of_an_empty_club_gets_a_link(client, capsys, db):
    call_command("first_officer", "Dilys@Example.org", name="Dilys Marchmont")
    link = re.search(r"http://127.0.0.1:8000(/join/[\w-]+/)", capsys.readouterr().out)[1]
    assert client.post(link, GOOD).status_code == 302
    assert Member.objects.get(email="dilys@example.org").is_officer


def test_a_club_with_an_officer_makes_no_second_first_one_unless_forced(officer, capsys):
    with pytest.raises(CommandError, match="The club has an officer"):
        call_command("first_officer", "new@example.org")
    assert Invitation.objects.count() == 0
    call_command("first_officer", "new@example.org", force=True)
    assert "/join/" in capsys.readouterr().out


def test_the_first_officers_address_is_checked(db, capsys):
    with pytest.raises(CommandError, match="valid email"):
        call_command("first_officer", "not an address")
