"""Who gets which page of members, invitations, settings, herds and grants, and with which headers."""

import re
from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clubsite.members.actions.invitations import invite
from herds.models import Animal, Grant, Herd

from .cast import PEOPLE
from .factories import PASSWORD, make_grant, make_member

EVERYBODY = PEOPLE
MEMBERS = tuple(who for who in PEOPLE if who != "visitor")
OFFICER = ("officer",)
KEEPERS = ("keeper", "co_owner")
NOBODY = ()

# (URL name, what its arguments are, who is let in)
PAGES = [
    ("club-public", (), EVERYBODY),
    ("healthz", (), EVERYBODY),
    ("account_login", (), ("visitor",)),
    ("account_reset_password", (), EVERYBODY),
    ("account_inactive", (), EVERYBODY),
    ("member-list", (), MEMBERS),
    ("member-detail", ("keeper",), MEMBERS),
    ("member-roles", ("fellow",), OFFICER),
    ("member-deactivate", ("fellow",), OFFICER),
    ("member-reactivate", ("shut",), OFFICER),
    ("member-close", ("shut",), OFFICER),
    ("member-close", ("fellow",), NOBODY),
    ("invitation-list", (), OFFICER),
    ("invitation-create", (), OFFICER),
    ("invitation-detail", ("invitation",), OFFICER),
    ("club-settings", (), OFFICER),
    ("account", (), MEMBERS),
    ("profile-update", (), MEMBERS),
    ("account-close", (), MEMBERS),
    ("account_email", (), MEMBERS),
    ("account_change_password", (), MEMBERS),
    ("mfa_index", (), MEMBERS),
    ("mfa_list_webauthn", (), MEMBERS),
    ("usersessions_list", (), MEMBERS),
    ("herd-create", (), MEMBERS),
    ("herd-update", ("herd",), KEEPERS),
    ("herd-owners", ("herd",), KEEPERS),
    ("herd-close", ("herd",), KEEPERS),
    ("owner-end", ("herd", "ownership"), KEEPERS),
    ("grant-create", ("herd",), KEEPERS),
    ("grant-list", (), MEMBERS),
    ("grant-update", ("grant",), KEEPERS),
    ("grant-revoke", ("grant",), (*KEEPERS, "mentor")),
    ("grant-update", ("revoked_grant",), NOBODY),
    ("grant-revoke", ("revoked_grant",), NOBODY),
]

# (URL name, arguments, who may send; all others get 404, and the visitor is sent to the sign-in page)
STEPS = [
    ("invitation-resend", ("invitation",), OFFICER),
    ("invitation-withdraw", ("invitation",), OFFICER),
    ("invitation-forget", ("invitation",), OFFICER),
    ("member-deactivate", ("fellow",), OFFICER),
    ("herd-reopen", ("herd",), KEEPERS),
    ("grant-revoke", ("grant",), (*KEEPERS, "mentor")),
    ("owner-end", ("herd", "ownership"), KEEPERS),
]


@pytest.fixture
def things(cast):
    """What the arguments' names stand for."""
    return {
        "keeper": cast.keeper.pk,
        "fellow": cast.fellow.pk,
        "shut": make_member("Corin Shutter", is_active=False).pk,
        "invitation": invite(email="fenna@example.org", by=cast.officer)[0].pk,
        "herd": cast.herd.slug,
        "ownership": cast.herd.ownerships.get(member=cast.co_owner).pk,
        "grant": Grant.objects.get(mentor=cast.mentor).pk,
        "revoked_grant": Grant.objects.get(mentor=cast.revoked_mentor).pk,
    }


def address(name, arguments, things):
    return reverse(name, args=[things[each] for each in arguments])


@pytest.mark.parametrize(("name", "arguments", "allowed"), PAGES)
def test_a_page_opens_for_those_it_is_for_and_is_not_there_for_others(cast, things, name, arguments, allowed):
    url = address(name, arguments, things)
    found = {who: cast.client_of(who).get(url).status_code for who in PEOPLE}
    if name == "account_login":  # who is signed in is sent on
        assert found == {who: 200 if who == "visitor" else 302 for who in PEOPLE}
    else:
        assert found == {who: 200 if who in allowed else 302 if who == "visitor" else 404 for who in PEOPLE}


@pytest.mark.parametrize("who", PEOPLE)
@pytest.mark.parametrize(("name", "arguments", "allowed"), STEPS)
def test_a_step_is_taken_only_by_those_who_may(cast, things, name, arguments, allowed, who):
    response = cast.client_of(who).post(address(name, arguments, things))
    assert response.status_code == (302 if who in allowed or who == "visitor" else 404)
    if who == "visitor":
        assert response.url.startswith(reverse("account_login"))


@pytest.mark.parametrize("name", ["invitation-resend", "invitation-withdraw", "account-data", "herd-reopen"])
def test_a_step_that_changes_something_is_not_taken_by_a_link(cast, things, name):
    arguments = {"account-data": (), "herd-reopen": ("herd",)}.get(name, ("invitation",))
    who = "keeper" if name == "herd-reopen" else "officer"
    assert cast.client_of(who).get(address(name, arguments, things)).status_code == 405


def test_a_grant_that_ended_yesterday_opens_nothing(cast):
    yesterday = timezone.localdate() - timedelta(days=1)
    make_grant(cast.other_herd, cast.mentor, cast.fellow, starts_on=yesterday, ends_on=yesterday)
    herd = reverse("herd-update", args=[cast.other_herd.slug])
    assert cast.client_of("mentor").get(herd).status_code == 404
    assert cast.other_herd not in Herd.objects.granted_to(cast.mentor)
    assert cast.other_buck not in Animal.objects.gradable_by(cast.mentor)


# ---- Headers ----


def csp(response):
    return dict(part.strip().partition(" ")[::2] for part in response["Content-Security-Policy"].split(";"))


@pytest.mark.parametrize("name", ["club-public", "account_login", "account_reset_password", "club-settings", "account"])
def test_every_answer_carries_the_strict_policy_and_the_other_headers(cast, name):
    response = cast.client_of("visitor" if name == "account_login" else "officer").get(reverse(name))
    policy = csp(response)
    assert policy["default-src"] == "'self'"
    assert policy["script-src"] == "'self'"
    assert policy["style-src"] == "'self'"
    assert policy["img-src"] == "'self' blob:"
    assert policy["object-src"] == policy["frame-ancestors"] == "'none'"
    assert policy["form-action"] == policy["base-uri"] == "'self'"
    assert "unsafe" not in response["Content-Security-Policy"]
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["X-Frame-Options"] == "DENY"
    assert response["Referrer-Policy"] == "same-origin"
    assert response["Cross-Origin-Opener-Policy"] == "same-origin"
    assert response["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "geolocation=()" in response["Permissions-Policy"]


def test_pages_of_a_signed_in_member_are_kept_by_no_cache(cast):
    client = cast.client_of("keeper")
    for name in ("account", "member-list", "grant-list", "herd-list", "club-public"):
        assert client.get(reverse(name))["Cache-Control"] == "private, no-store", name
    assert "Cache-Control" not in Client().get(reverse("club-public"))


def test_the_invitations_page_and_the_sign_in_page_are_kept_by_no_cache(cast):
    _, token = invite(email="fenna@example.org", by=cast.officer)
    for url in (reverse("invitation-accept", args=[token]), reverse("account_login")):
        assert "no-store" in Client().get(url)["Cache-Control"]


def test_the_session_cookie_is_out_of_reach_of_scripts_and_of_other_sites(cast):
    client = Client()
    client.post(reverse("account_login"), {"login": cast.keeper.email, "password": PASSWORD})
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"


@pytest.mark.parametrize("name", ["account_login", "mfa_index", "account_email", "club-settings", "account-close"])
def test_no_page_carries_inline_script_or_style(cast, name):
    text = cast.client_of("visitor" if name == "account_login" else "officer").get(reverse(name)).content.decode()
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:|data:image", text)
    for tag in re.findall(r"<script[^>]*>", text):
        assert "src=" in tag or 'type="application/json"' in tag
