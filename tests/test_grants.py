"""Mentor grants: given by owners to adult members, for a time, ended at once."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from clubsite.errors import NotYours
from clubsite.members.models import Club
from herds.actions.grants import LONGEST_DAYS, change_grant, default_end, grant_herd, revoke_grant
from herds.models import Animal, Grant, Herd, Weight

from .factories import make_grant, make_herd, make_member, make_weight


def day(ahead):
    return timezone.localdate() + timedelta(days=ahead)


def running(cast):
    return Grant.objects.get(herd=cast.herd, mentor=cast.mentor)


@pytest.fixture
def url(cast):
    return reverse("grant-create", args=[cast.herd.slug])


# ---- Giving ----


def test_an_owner_opens_the_herd_to_a_mentor_who_is_told(cast, url, django_capture_on_commit_callbacks):
    sent = {"mentor": cast.revoked_mentor.pk, "ends_on": day(10), "may_grade": "on", "note": "the young bucks"}
    with django_capture_on_commit_callbacks(execute=True):
        assert cast.client_of("co_owner").post(url, sent).url == reverse("grant-list")
    grant = Grant.objects.get(mentor=cast.revoked_mentor, revoked_at__isnull=True)
    assert (grant.granted_by, grant.starts_on, grant.ends_on) == (cast.co_owner, day(0), day(10))
    assert grant.may_grade
    assert not grant.with_log
    assert cast.herd in Herd.objects.granted_to(cast.revoked_mentor)
    letter = mail.outbox[0]
    assert letter.to == [cast.revoked_mentor.email]
    assert letter.subject == "Ashgrove is open to you"
    assert "the young bucks" not in letter.body


def test_a_member_who_takes_no_requests_is_found_by_e_mail(cast, url):
    sent = {"email": cast.fellow.email.upper(), "ends_on": day(10)}
    assert cast.client_of("keeper").post(url, sent).status_code == 302
    assert Grant.objects.running().filter(mentor=cast.fellow, herd=cast.herd, may_grade=False).exists()


def test_the_end_offered_comes_from_the_clubs_settings(cast, url):
    Club.current()
    Club.objects.update(grant_days=45)
    assert default_end() == day(45)
    assert f'value="{day(45):%Y-%m-%d}"' in cast.client_of("keeper").get(url).content.decode()


def test_the_form_offers_mentors_by_name_and_gives_nobodys_address_away(cast, url):
    text = cast.client_of("keeper").get(url, {"mentor": cast.fellow.pk}).content.decode()
    assert "Anselm Oakhurst" in text
    for member in (cast.mentor, cast.fellow, cast.grader):
        assert member.email not in text
    assert "Rhea Millbrook" not in text


def test_a_mentor_of_before_is_chosen_already(cast, url):
    text = cast.client_of("keeper").get(url, {"mentor": cast.revoked_mentor.pk}).content.decode()
    assert f'<option value="{cast.revoked_mentor.pk}" selected>' in text


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"ends_on": day(-1)}, "This day is past."),
        ({"ends_on": day(LONGEST_DAYS + 1)}, "A grant lasts two years at most."),
        ({"ends_on": "2026-02-30"}, "Enter a valid date."),
        ({"mentor": ""}, "Choose a mentor, or give an e-mail address below."),
        ({"mentor": "", "email": "nobody@example.org"}, "No other adult member of the club has this e-mail address."),
        ({"email": "nobody@example.org"}, "not both"),
        ({"mentor": "999999"}, "Select a valid choice."),
    ],
)
def test_a_grant_with_a_mistake_is_not_given(cast, url, changes, sentence):
    sent = {"mentor": cast.revoked_mentor.pk, "ends_on": day(10), **changes}
    response = cast.client_of("keeper").post(url, sent)
    assert response.status_code == 422
    assert sentence in response.content.decode()
    assert Grant.objects.filter(mentor=cast.revoked_mentor, revoked_at__isnull=True).count() == 0


def test_a_youth_a_shut_out_member_and_an_owner_are_no_mentors(cast, url):
    youth = make_member("Wren Millbrook", email="youth@example.org", guardian=cast.fellow)
    shut = make_member("Corin Shutter", email="shut@example.org", is_active=False)
    guardian = make_member("Gale Winslow")
    make_herd_with_youth = make_herd(make_member("Robin Winslow", guardian=guardian), name="Robin's")
    for herd, mentor, by in (
        (cast.herd, youth, cast.keeper),
        (cast.herd, shut, cast.keeper),
        (cast.herd, cast.co_owner, cast.keeper),
        (cast.herd, cast.keeper, cast.keeper),
        (make_herd_with_youth, guardian, guardian),
    ):
        with pytest.raises(ValidationError):
            grant_herd(herd=herd, mentor=mentor, ends_on=day(9), by=by)
    for email in ("youth@example.org", "shut@example.org", cast.co_owner.email):
        assert cast.client_of("keeper").post(url, {"email": email, "ends_on": day(9)}).status_code == 422


def test_a_grant_of_a_mentor_who_became_a_youth_account_or_was_shut_out_opens_nothing(cast):
    type(cast.mentor).objects.filter(pk=cast.mentor.pk).update(takes_reviews=False, guardian=cast.fellow)
    cast.mentor.refresh_from_db()
    assert cast.herd not in Herd.objects.granted_to(cast.mentor)


def test_one_mentor_has_one_grant_for_a_herd(cast):
    with pytest.raises(ValidationError, match="already has a grant for Ashgrove until"):
        grant_herd(herd=cast.herd, mentor=cast.mentor, ends_on=day(9), by=cast.keeper)


def test_a_new_grant_takes_the_place_of_one_that_ran_out(cast):
    Grant.objects.filter(mentor=cast.mentor).update(starts_on=day(-30), ends_on=day(-1))
    grant = grant_herd(herd=cast.herd, mentor=cast.mentor, ends_on=day(9), by=cast.keeper)
    assert list(Grant.objects.running().filter(mentor=cast.mentor)) == [grant]


@pytest.mark.parametrize("who", ["fellow", "mentor", "revoked_mentor", "registrar", "officer", "grader"])
def test_nobody_but_a_keeper_gives_or_changes_grants(cast, who):
    by = getattr(cast, who)
    with pytest.raises(NotYours):
        grant_herd(herd=cast.herd, mentor=cast.fellow, ends_on=day(9), by=by)
    with pytest.raises(NotYours):
        change_grant(grant=running(cast), ends_on=day(9), may_grade=True, with_log=True, by=by)
    if who != "mentor":
        with pytest.raises(NotYours):
            revoke_grant(grant=running(cast), by=by)


# ---- What a grant opens ----


def test_the_two_switches_open_grading_and_the_log(cast):
    weight = make_weight(cast.dam)
    grant = running(cast)
    for may_grade, with_log in ((True, False), (False, True)):
        change_grant(grant=grant, ends_on=day(9), may_grade=may_grade, with_log=with_log, by=cast.keeper)
        assert (cast.dam in Animal.objects.gradable_by(cast.mentor)) is may_grade
        assert (weight in Weight.objects.visible_to(cast.mentor)) is with_log


@pytest.mark.parametrize(("starts", "ends", "opens"), [(-9, -1, False), (-9, 0, True), (0, 0, True), (1, 9, False)])
def test_a_grant_opens_the_herd_on_its_days_both_included_and_on_no_other(cast, starts, ends, opens):
    Grant.objects.filter(mentor=cast.mentor).update(starts_on=day(starts), ends_on=day(ends))
    assert (cast.herd in Herd.objects.granted_to(cast.mentor)) is opens
    assert (cast.dam in Animal.objects.gradable_by(cast.mentor)) is opens
    assert running(cast).is_running() is opens


# ---- Changing, renewing, revoking ----


def test_an_owner_changes_the_end(cast):
    url = reverse("grant-update", args=[running(cast).pk])
    sent = {"ends_on": day(60), "may_grade": "on", "with_log": "on", "note": ""}
    assert cast.client_of("co_owner").post(url, sent).status_code == 302
    assert (running(cast).ends_on, running(cast).with_log) == (day(60), True)
    assert "This day is past." in cast.client_of("keeper").post(url, {"ends_on": day(-1)}).content.decode()
    assert running(cast).ends_on == day(60)


def test_a_grant_that_ran_out_is_renewed_from_today(cast):
    Grant.objects.filter(mentor=cast.mentor).update(starts_on=day(-30), ends_on=day(-1))
    url = reverse("grant-update", args=[running(cast).pk])
    text = cast.client_of("keeper").get(url).content.decode()
    assert "It opens nothing now." in text
    assert f'value="{default_end():%Y-%m-%d}"' in text
    cast.client_of("keeper").post(url, {"ends_on": day(5)})
    assert (running(cast).starts_on, running(cast).ends_on) == (day(0), day(5))


def test_revoking_is_asked_and_closes_the_herd_at_once(cast):
    grant = running(cast)
    url = reverse("grant-revoke", args=[grant.pk])
    client = cast.client_of("keeper")
    assert "Revoke the grant of Anselm Oakhurst?" in client.get(url).content.decode()
    assert cast.herd in Herd.objects.granted_to(cast.mentor)
    client.post(url)
    grant.refresh_from_db()
    assert grant.revoked_by == cast.keeper
    assert cast.herd not in Herd.objects.granted_to(cast.mentor)
    assert client.post(url).status_code == 404
    with pytest.raises(ValidationError, match="already revoked"):
        revoke_grant(grant=grant, by=cast.keeper)
    with pytest.raises(ValidationError, match="already revoked"):
        change_grant(grant=grant, ends_on=day(5), may_grade=True, with_log=False, by=cast.keeper)


def test_a_mentor_hands_a_grant_back(cast):
    url = reverse("grant-revoke", args=[running(cast).pk])
    client = cast.client_of("mentor")
    assert "Hand back the grant for Ashgrove?" in client.get(url).content.decode()
    client.post(url)
    assert running(cast).revoked_by == cast.mentor


# ---- The list ----


def test_owner_and_mentor_each_see_their_side(cast):
    make_grant(cast.other_herd, cast.keeper, cast.fellow, note="look at the undercolor")
    owner, mentor, stranger = (
        cast.client_of(who).get(reverse("grant-list")).content.decode() for who in ("keeper", "mentor", "grader")
    )
    assert "Anselm Oakhurst" in owner
    assert "look at the undercolor" in owner
    assert "Grant again" in owner
    assert "by Ida Ashgrove" in mentor
    assert "Berit Stonewell" not in mentor
    assert "Ashgrove" not in stranger
    assert "Millbrook" not in stranger


def test_a_former_owner_reads_the_herds_grants_no_longer(cast):
    cast.herd.ownerships.filter(member=cast.co_owner).update(until=day(0))
    assert "Anselm Oakhurst" not in cast.client_of("co_owner").get(reverse("grant-list")).content.decode()


def test_the_list_costs_the_same_for_many(cast, django_assert_num_queries):
    for number in range(15):
        mentor = make_member(f"Mentor {number}")
        make_grant(cast.herd, mentor, cast.keeper, ends_on=day(number - 5), starts_on=day(-10))
        make_grant(make_herd(mentor), cast.keeper, mentor)
    client = cast.client_of("keeper")
    client.get(reverse("grant-list"))
    with django_assert_num_queries(7):  # session, member, running, herds, ended, single animals, club
        client.get(reverse("grant-list"))
