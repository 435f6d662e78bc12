"""The first officer of an empty club, and the passwords of the demo club."""

import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from clubsite.members.models import Club

from .factories import make_member


def said_by(*arguments):
    out = StringIO()
    call_command(*arguments, stdout=out)
    return out.getvalue()


@pytest.mark.django_db
def test_the_first_officer_gets_a_link_that_opens_the_club(client):
    told = said_by("first_officer", "bea@club.example", "--name", "Bea Fernholt")
    path = re.search(r"https?://[^/]+(\S+)", told)[1]
    assert client.get(path, follow=True).status_code == 200


@pytest.mark.django_db
def test_a_second_first_officer_is_refused():
    make_member("Bea Fernholt", is_officer=True)
    with pytest.raises(CommandError, match="has an officer"):
        said_by("first_officer", "other@club.example")


@pytest.mark.django_db
def test_an_address_that_is_none_is_refused():
    with pytest.raises(CommandError, match=r"valid e-?mail address"):
        said_by("first_officer", "nonsense")


@pytest.mark.django_db
def test_new_demo_passwords_are_for_invented_members_only(client, monkeypatch):
    monkeypatch.setenv("ARGENTRY_DEMO_PASSWORD", "a-new-one-for-all")
    Club.objects.update_or_create(pk=1, defaults={"is_demo": True})
    invented = make_member("Ida Ashgrove", email="ida@barn.example")
    guest = make_member("A guest", email="guest@elsewhere.org")
    before = guest.password
    told = said_by("demo_passwords")
    guest.refresh_from_db()
    invented.refresh_from_db()
    assert guest.password == before
    assert invented.check_password("a-new-one-for-all")
    assert "a-new-one-for-all" in told
    assert "ida@barn.example" in told
    assert "guest@elsewhere.org" not in told


@pytest.mark.django_db
def test_the_passwords_of_a_real_club_are_never_touched():
    member = make_member("Ida Ashgrove", email="ida@barn.example")
    with pytest.raises(CommandError, match="not the demo club"):
        said_by("demo_passwords")
    before = member.password
    member.refresh_from_db()
    assert member.password == before
