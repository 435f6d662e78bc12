"""Members: who sees whom, roles, shutting out, and how an account is closed."""

from datetime import timedelta

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clubsite.errors import NotYours
from clubsite.members.actions.members import (
    LAST_OFFICER,
    change_profile,
    change_roles,
    close_account,
    deactivate,
    reactivate,
)
from clubsite.members.models import Club, Invitation, Member

from .cast import PEOPLE
from .factories import PASSWORD, make_grant, make_herd, make_member

OFFICE = {"is_officer": True, "is_registrar": False, "guardian": None}
NO_OFFICE = {"is_officer": False, "is_registrar": False, "guardian": None}


def page(cast, who, name, *args, **query):
    response = cast.client_of(who).get(reverse(name, args=args), query)
    assert response.status_code == 200
    return response.content.decode()


# ---- Lists and pages ----


def test_members_read_names_regions_roles_and_herds_but_no_addresses(cast):
    Member.objects.filter(pk=cast.keeper.pk).update(region="North Vale")
    text = page(cast, "fellow", "member-list")
    for words in ("Ida Ashgrove", "North Vale", "officer", "registrar", "trained grader", "Millbrook"):
        assert words in text
    assert cast.keeper.email not in text
    assert cast.keeper.email in page(cast, "officer", "member-list")
    assert cast.keeper.email not in page(cast, "fellow", "member-detail", cast.keeper.pk)
    assert cast.keeper.email in page(cast, "officer", "member-detail", cast.keeper.pk)


def test_the_list_is_found_by_name_and_filtered_by_role(cast):
    assert "Rhea Millbrook" not in page(cast, "fellow", "member-list", q="ashgrove ida")
    assert "Ida Ashgrove" in page(cast, "fellow", "member-list", q="ashgrove ida")
    assert "Cosmo Fairlie" in page(cast, "fellow", "member-list", role="registrar")
    assert "Ida Ashgrove" not in page(cast, "fellow", "member-list", role="registrar")
    assert "Edda Winslow" in page(cast, "fellow", "member-list", role="grader")
    assert "Nobody found" in page(cast, "fellow", "member-list", q=cast.keeper.email)
    assert "Ida Ashgrove" in page(cast, "officer", "member-list", q=cast.keeper.email)


def test_the_list_is_sorted_both_ways_whatever_the_capitals(cast):
    make_member("aaron Lowercase")
    up, down = (page(cast, "fellow", "member-list", sort=sort) for sort in ("name", "-name"))
    assert up.index("aaron Lowercase") < up.index("Anselm Oakhurst") < up.index("Tomas Ashgrove")
    assert down.index("Tomas Ashgrove") < down.index("Anselm Oakhurst") < down.index("aaron Lowercase")


def test_the_members_list_costs_the_same_for_fifty(cast, django_assert_num_queries):
    for number in range(45):
        make_herd(make_member(f"Member {number}", guardian=cast.keeper if number % 5 == 0 else None))
    client = cast.client_of("officer")
    Club.current()
    with django_assert_num_queries(6):  # session, member, club, count, page with guardians, herds
        client.get(reverse("member-list"))


def test_whose_a_youth_is_is_told_to_officers_the_guardian_and_the_youth_only(cast):
    youth = make_member("Wren Ashgrove", guardian=cast.keeper)
    assert "Youth account" in page(cast, "officer", "member-detail", youth.pk)
    assert "Youth account" in page(cast, "keeper", "member-detail", youth.pk)
    assert "Youth account" not in page(cast, "fellow", "member-detail", youth.pk)
    assert "Guardian of" in page(cast, "officer", "member-detail", cast.keeper.pk)
    assert "Guardian of" not in page(cast, "fellow", "member-detail", cast.keeper.pk)
    assert "youth" not in page(cast, "fellow", "member-list").lower()


def test_a_shut_out_member_is_shown_to_officers_only_and_a_closed_one_to_nobody(cast):
    shut = make_member("Corin Shutter", is_active=False)
    closed = close_account(member=make_member("Gone Away", is_active=False), by=cast.officer)
    assert "Corin Shutter" not in page(cast, "officer", "member-list")
    assert "Corin Shutter" in page(cast, "officer", "member-list", role="shut")
    assert "Corin Shutter" not in page(cast, "fellow", "member-list", role="shut")
    url, closed_url = shut.get_absolute_url(), closed.get_absolute_url()
    for who in PEOPLE:
        assert cast.client_of(who).get(url).status_code == {"officer": 200, "visitor": 302}.get(who, 404)
        assert cast.client_of(who).get(closed_url).status_code == (302 if who == "visitor" else 404)


# ---- Roles ----


def test_an_officer_gives_and_takes_roles(cast):
    client = cast.client_of("officer")
    url = reverse("member-roles", args=[cast.fellow.pk])
    assert client.post(url, {"is_registrar": "on"}).status_code == 302
    cast.fellow.refresh_from_db()
    assert (cast.fellow.is_officer, cast.fellow.is_registrar) == (False, True)
    client.post(url, {})
    cast.fellow.refresh_from_db()
    assert not cast.fellow.is_registrar


def test_the_last_officer_stays_one(cast):
    url = reverse("member-roles", args=[cast.officer.pk])
    response = cast.client_of("officer").post(url, {})
    assert response.status_code == 422
    assert LAST_OFFICER in response.content.decode()
    for action in (deactivate, close_account):
        with pytest.raises(ValidationError):
            action(member=cast.officer, by=cast.officer)
    cast.officer.refresh_from_db()
    assert cast.officer.is_officer
    change_roles(member=cast.fellow, by=cast.officer, **OFFICE)
    change_roles(member=cast.officer, by=cast.officer, **NO_OFFICE)
    cast.officer.refresh_from_db()
    assert not cast.officer.is_officer


def test_an_officer_who_was_shut_out_does_not_count_as_the_other_officer(cast):
    make_member("Former Officer", is_officer=True, is_active=False)
    with pytest.raises(ValidationError, match="needs an officer"):
        change_roles(member=cast.officer, by=cast.officer, **NO_OFFICE)


def test_stepping_down_locks_the_officers_rows_in_one_order(cast):
    with CaptureQueriesContext(connection) as queries:
        change_roles(member=cast.fellow, by=cast.officer, **OFFICE)
    locks = [each["sql"] for each in queries if "FOR UPDATE" in each["sql"]]
    assert '"is_officer"' in locks[0]
    assert "ORDER BY" in locks[0]


def test_a_youth_holds_no_office_and_their_guardian_is_another_adult(cast):
    youth = make_member("Wren Ashgrove", guardian=cast.keeper)
    other_youth = make_member("Robin Millbrook", guardian=cast.fellow)
    refused = [
        (youth, {"is_officer": True, "is_registrar": False, "guardian": cast.keeper}, "cannot be officer"),
        (youth, {**NO_OFFICE, "guardian": other_youth}, "cannot be a guardian"),
        (cast.keeper, {**NO_OFFICE, "guardian": cast.fellow}, "is a guardian, and so an adult"),
        (cast.fellow, {**NO_OFFICE, "guardian": cast.fellow}, "their own guardian"),
    ]
    for member, roles, words in refused:
        with pytest.raises(ValidationError, match=words):
            change_roles(member=member, by=cast.officer, **roles)
    assert change_roles(member=youth, by=cast.officer, **{**NO_OFFICE, "guardian": cast.grader}).guardian == cast.grader
    assert not change_roles(member=youth, by=cast.officer, **NO_OFFICE).is_youth


@pytest.mark.parametrize("who", ["keeper", "registrar", "mentor"])
def test_nobody_but_an_officer_changes_roles_or_shuts_out(cast, who):
    by = getattr(cast, who)
    for action, given in ((change_roles, OFFICE), (deactivate, {}), (reactivate, {})):
        with pytest.raises(NotYours):
            action(member=cast.fellow, by=by, **given)
    with pytest.raises(NotYours):
        close_account(member=cast.fellow, by=by)


# ---- Shutting out ----


def test_shutting_out_ends_the_session_at_once_and_letting_in_again_opens_the_account(cast):
    client = cast.client_of("fellow")
    officer = cast.client_of("officer")
    assert client.get(reverse("account")).status_code == 200
    assert officer.get(reverse("member-deactivate", args=[cast.fellow.pk])).status_code == 200
    officer.post(reverse("member-deactivate", args=[cast.fellow.pk]))
    assert client.get(reverse("account")).status_code == 302
    sent = {"login": cast.fellow.email, "password": PASSWORD}
    assert Client().post(reverse("account_login"), sent).url == reverse("account_inactive")
    officer.post(reverse("member-reactivate", args=[cast.fellow.pk]))
    assert Client().post(reverse("account_login"), sent).url == reverse("today")


def test_a_guardian_is_typed_and_never_guessed(cast):
    youth, twin = make_member("Wren Ashgrove"), make_member("Rhea Millbrook")
    client, page = cast.client_of("officer"), reverse("member-roles", args=[youth.pk])

    def said(typed):
        response = client.post(page, {"guardian": typed})
        return response.status_code, response.content.decode()

    assert said("Nobody Here")[0] == 422
    assert "Is it Ida Ashgrove, Tomas Ashgrove, Wren Ashgrove?" in said("ashgrove")[1]
    assert "Several members are called Rhea Millbrook." in said("Rhea Millbrook")[1]
    assert said(twin.email.upper())[0] == 302
    youth.refresh_from_db()
    assert youth.guardian == twin
    assert "Rhea Millbrook" in client.get(page).content.decode()
    assert said("")[0] == 302
    youth.refresh_from_db()
    assert youth.guardian is None


def test_an_officer_shuts_neither_themselves_nor_a_guardian_out(cast):
    make_member("Second Officer", is_officer=True)
    make_member("Wren Ashgrove", guardian=cast.keeper)
    with pytest.raises(ValidationError, match="Ask another officer"):
        deactivate(member=cast.officer, by=cast.officer)
    with pytest.raises(ValidationError, match="answers as guardian for Wren Ashgrove"):
        deactivate(member=cast.keeper, by=cast.officer)
    response = cast.client_of("officer").post(reverse("member-deactivate", args=[cast.keeper.pk]), follow=True)
    assert "answers as guardian" in response.content.decode()


# ---- Profile ----


def test_members_change_their_own_profile(cast):
    client = cast.client_of("keeper")
    sent = {"name": " Ida  Ashgrove ", "region": "High Vale", "weight_unit": "kg", "takes_reviews": "on"}
    assert client.post(reverse("profile-update"), sent).status_code == 302
    cast.keeper.refresh_from_db()
    assert (cast.keeper.name, cast.keeper.region, cast.keeper.weight_unit) == ("Ida Ashgrove", "High Vale", "kg")
    assert cast.keeper.takes_reviews


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"name": ""}, "This field is required."),
        ({"region": "3 Mill Lane"}, "This looks like an address."),
        ({"weight_unit": "stone"}, "Select a valid choice."),
    ],
)
def test_a_profile_with_a_mistake_is_not_saved(cast, changes, sentence):
    sent = {"name": "Somebody Else", "region": "", "weight_unit": "kg", **changes}
    response = cast.client_of("keeper").post(reverse("profile-update"), sent)
    assert response.status_code == 422
    assert sentence in response.content.decode()
    cast.keeper.refresh_from_db()
    assert cast.keeper.name == "Ida Ashgrove"


def test_a_profile_is_changed_by_its_member_only_and_a_youth_takes_no_mentor_requests(cast):
    given = {"name": "X", "region": "", "weight_unit": "kg"}
    with pytest.raises(NotYours):
        change_profile(member=cast.keeper, by=cast.officer, **given)
    youth = make_member("Wren Ashgrove", guardian=cast.keeper)
    assert not change_profile(member=youth, by=youth, takes_reviews=True, **given).takes_reviews


# ---- Closing ----


def close(client, **changes):
    return client.post(reverse("account-close"), {"password": PASSWORD, "understood": "on", **changes})


def test_closing_takes_the_person_out_and_keeps_the_cards(cast):
    client = cast.client_of("fellow")
    old_email = cast.fellow.email
    Authenticator.objects.create(user=cast.fellow, type="recovery_codes", data={})
    words = page(cast, "fellow", "account-close")
    assert "Millbrook is closed, because nobody else owns it." in words
    assert close(client).url == reverse("club-public")
    cast.fellow.refresh_from_db()
    assert str(cast.fellow) == "A former member"
    assert cast.fellow.closed_at
    assert not cast.fellow.is_active
    assert not cast.fellow.has_usable_password()
    assert not EmailAddress.objects.filter(user=cast.fellow).exists()
    assert not Authenticator.objects.filter(user=cast.fellow).exists()
    assert client.get(reverse("account")).status_code == 302
    card = page(cast, "keeper", "animal-detail", cast.other_buck.pk)
    assert "Flint" in card
    assert "Rhea" not in card
    assert "outside the club" in card
    assert make_member("New Person", email=old_email).email == old_email


def test_a_closed_sole_herd_shares_nothing_and_is_nobodys(cast):
    cast.other_herd.shares_looks = cast.other_herd.shares_weights = True
    cast.other_herd.notes, cast.other_herd.region = "private", "South Vale"
    cast.other_herd.save()
    grant = make_grant(cast.other_herd, cast.mentor, cast.fellow)
    close(cast.client_of("fellow"))
    herd = cast.other_herd
    herd.refresh_from_db()
    grant.refresh_from_db()
    assert herd.closed_on == timezone.localdate()
    assert (herd.notes, herd.region, herd.slug) == ("", "", f"herd-{herd.pk}")
    assert not any((herd.shares_looks, herd.shares_photos, herd.shares_litters, herd.shares_weights))
    assert grant.revoked_at
    assert not herd.ownerships.filter(until__isnull=True).exists()


def test_a_co_owned_herd_goes_on(cast):
    assert "Ashgrove goes on with Tomas Ashgrove." in page(cast, "keeper", "account-close")
    close(cast.client_of("keeper"))
    cast.herd.refresh_from_db()
    assert cast.herd.closed_on is None
    assert cast.herd.owner_names == ["Tomas Ashgrove"]
    assert cast.client_of("co_owner").get(reverse("herd-update", args=[cast.herd.slug])).status_code == 200


def test_a_mentors_grants_end_with_the_account(cast):
    close(cast.client_of("mentor"))
    assert not cast.herd.grants.running().exists()
    assert cast.herd.grants.get(mentor=cast.mentor).revoked_at


def test_a_youths_herd_goes_to_the_guardian(cast):
    youth = make_member("Wren Ashgrove", guardian=cast.grader)
    herd = make_herd(youth, name="Wren's corner")
    close_account(member=youth, by=youth)
    assert herd.owner_names == ["Edda Winslow"]


def test_the_name_also_goes_from_the_invitation(cast):
    now = timezone.now()
    Invitation.objects.create(
        email=cast.fellow.email, name="Rhea Millbrook", token_hash="x", expires_at=now + timedelta(days=1),
        invited_by=cast.officer, accepted_at=now, accepted_by=cast.fellow,
    )  # fmt: skip
    close_account(member=cast.fellow, by=cast.fellow)
    invitation = Invitation.objects.get()
    assert invitation.name == ""
    assert "@invalid" in invitation.email


def test_a_guardian_or_the_last_officer_reads_why_the_account_cannot_be_closed_yet(cast):
    make_member("Wren Ashgrove", guardian=cast.keeper)
    assert "answers as guardian for Wren Ashgrove" in page(cast, "keeper", "account-close")
    assert LAST_OFFICER in page(cast, "officer", "account-close")
    for who in ("keeper", "officer"):
        assert close(cast.client_of(who)).status_code == 422
        assert Member.objects.get(pk=getattr(cast, who).pk).is_active


@pytest.mark.parametrize("changes", [{"password": "wrong"}, {"understood": ""}])
def test_an_account_is_not_closed_without_the_password_and_the_tick(cast, changes):
    assert close(cast.client_of("fellow"), **changes).status_code == 422
    cast.fellow.refresh_from_db()
    assert cast.fellow.is_active


def test_an_officer_closes_only_an_account_that_was_shut_out_before(cast):
    with pytest.raises(NotYours):
        close_account(member=cast.fellow, by=cast.officer)
    client = cast.client_of("officer")
    assert client.get(reverse("member-close", args=[cast.fellow.pk])).status_code == 404
    deactivate(member=cast.fellow, by=cast.officer)
    assert client.get(reverse("member-close", args=[cast.fellow.pk])).status_code == 200
    client.post(reverse("member-close", args=[cast.fellow.pk]))
    cast.fellow.refresh_from_db()
    assert cast.fellow.closed_at
    with pytest.raises(NotYours):
        reactivate(member=cast.fellow, by=cast.officer)
    assert client.get(reverse("member-reactivate", args=[cast.fellow.pk])).status_code == 404
