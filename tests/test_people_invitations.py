"""Invitations: the only way into the club."""

import pytest
from allauth.account.models import EmailAddress
from django.urls import reverse

from clubsite.members.actions.invitations import invite
from clubsite.members.models import Member

from .factories import make_member

GOOD = {
    "name": "Fenna  Larkfield",
    "region": "West Vale",
    "weight_unit": "kg",
    "password": "seven brass buckles",
    "again": "seven brass buckles",
}


def given(**changes):
    """What `accept` takes."""
    return {name: value for name, value in {**GOOD, **changes}.items() if name != "again"}


@pytest.fixture
def officer(db):
    return make_member("Dilys Marchmont", is_officer=True)


@pytest.fixture
def invited(officer):
    """(invitation, token, link) for Fenna."""
    invitation, token = invite(email="Fenna@Example.org", name="Fenna Larkfield", as_registrar=True, by=officer)
    return invitation, token, reverse("invitation-accept", args=[token])


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
