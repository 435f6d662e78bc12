"""Herds begin, share, gain and lose owners, and close; the last owner stays."""

import threading
from datetime import timedelta

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from clubsite.errors import NotYours
from clubsite.versions import StalePage
from herds.actions.herds import (
    add_owner,
    change_herd,
    close_herd,
    create_herd,
    end_ownership,
    free_slug,
    reopen_herd,
)
from herds.forms.herds import SHARING, HerdForm
from herds.models import Herd

from .factories import make_grant, make_herd, make_member

TODAY = timezone.localdate


def sent(herd=None, **changes):
    """The herd's form as it is sent when only `changes` were typed."""
    form = HerdForm(instance=herd)
    values = {name: form[name].value() for name in form.fields}
    ticks = {name: "on" for name in SHARING if values.pop(name)}
    return {name: "" if value is None else value for name, value in {**values, **ticks, **changes}.items()}


# ---- Beginning ----


def test_a_member_begins_a_herd_and_is_its_owner(cast):
    response = cast.client_of("grader").post(
        reverse("herd-create"), sent(name=" Winslow  Warren ", prefix="Winslow", region="East Vale", shares_looks="on")
    )
    herd = Herd.objects.get(name="Winslow Warren")
    assert response.url == herd.get_absolute_url() == "/herds/winslow-warren/"
    assert herd.owner_names == ["Edda Winslow"]
    assert herd.shares_looks
    assert not any(getattr(herd, name) for name in SHARING if name != "shares_looks")


def test_the_same_form_sent_twice_begins_one_herd(cast):
    client = cast.client_of("grader")
    form = sent(name="Winslow", submission_key="0d8b8a53-6c8e-4a35-90c2-1a5dd1f3d0aa")
    assert client.post(reverse("herd-create"), form).url == client.post(reverse("herd-create"), form).url
    assert Herd.objects.filter(name="Winslow").count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"name": ""}, "This field is required."),
        ({"name": "New", "prefix": "ASHGROVE"}, "Another herd has this prefix."),
        ({"name": "New", "region": "7 Mill Lane"}, "This looks like an address."),
        ({"name": "New", "region": "Vale, AB1 2CD"}, "This looks like an address."),
    ],
)
def test_a_herd_with_a_mistake_is_not_begun_and_keeps_what_was_typed(cast, changes, sentence):
    response = cast.client_of("grader").post(reverse("herd-create"), sent(notes="typed here", **changes))
    assert response.status_code == 422
    assert sentence in response.content.decode()
    assert "typed here" in response.content.decode()
    assert Herd.objects.count() == 2


def test_two_herds_of_one_name_have_two_addresses_and_none_takes_a_pages(cast):
    assert create_herd(name="Ashgrove", by=cast.grader).slug == "ashgrove-2"
    assert create_herd(name="Ashgrove", by=cast.grader).slug == "ashgrove-3"
    assert create_herd(name="New", by=cast.grader).slug == "new-2"
    assert free_slug("Ölmühle") == "olmuhle"
    assert free_slug("!!!") == "herd"


# ---- Changing ----


def test_an_owner_changes_sharing_and_the_address_stays(cast):
    client = cast.client_of("co_owner")
    url = reverse("herd-update", args=[cast.herd.slug])
    assert client.post(url, sent(cast.herd, name="Ashgrove Hill", shares_weights="on")).status_code == 302
    cast.herd.refresh_from_db()
    assert (cast.herd.name, cast.herd.slug, cast.herd.shares_weights) == ("Ashgrove Hill", "ashgrove", True)


def test_every_switch_says_in_words_what_members_see_then(cast):
    text = cast.client_of("keeper").get(reverse("herd-update", args=[cast.herd.slug])).content.decode()
    for name, (label, words) in SHARING.items():
        assert f'name="{name}"' in text
        assert label in text
        assert words in text


def test_what_the_other_owner_saved_meanwhile_is_shown_and_not_overwritten(cast):
    opened = sent(cast.herd, region="Low Vale")
    change_herd(herd=cast.herd, version=None, by=cast.co_owner, region="High Vale", shares_photos=True)
    url = reverse("herd-update", args=[cast.herd.slug])
    response = cast.client_of("keeper").post(url, opened)
    assert response.status_code == 409
    text = response.content.decode()
    assert "was changed by somebody else" in text
    assert "High Vale" in text
    assert "Low Vale" in text
    cast.herd.refresh_from_db()
    assert (cast.herd.region, cast.herd.shares_photos) == ("High Vale", True)
    assert cast.client_of("keeper").post(url, {**opened, "version": cast.herd.version}).status_code == 302


def test_only_keepers_change_a_herd(cast):
    for who in ("fellow", "mentor", "registrar", "officer"):
        by = getattr(cast, who)
        with pytest.raises(NotYours):
            change_herd(herd=cast.herd, version=1, by=by, name="Mine")
        with pytest.raises(NotYours):
            add_owner(herd=cast.herd, email=cast.grader.email, by=by)
        with pytest.raises(NotYours):
            end_ownership(ownership=cast.herd.ownerships.get(member=cast.co_owner), by=by)
        with pytest.raises(NotYours):
            close_herd(herd=cast.herd, by=by)
        with pytest.raises(NotYours):
            reopen_herd(herd=cast.herd, by=by)
    with pytest.raises(StalePage):
        change_herd(herd=cast.herd, version=99, by=cast.keeper, name="Mine")


def test_a_guardian_keeps_the_youths_herd_too(cast):
    youth = make_member("Wren Ashgrove", guardian=cast.grader)
    url = reverse("herd-update", args=[make_herd(youth, name="Wrens corner").slug])
    assert cast.client_of("grader").get(url).status_code == 200
    assert cast.client_of("fellow").get(url).status_code == 404


# ---- Owners ----


def test_an_owner_adds_another_who_is_told_by_letter(cast):
    url = reverse("herd-owners", args=[cast.herd.slug])
    assert cast.client_of("keeper").post(url, {"email": cast.grader.email.upper()}).status_code == 302
    assert cast.herd.owner_names == ["Ida Ashgrove", "Tomas Ashgrove", "Edda Winslow"]
    letter = mail.outbox[0]
    assert letter.to == [cast.grader.email]
    assert letter.subject == "You own Ashgrove too"
    assert "Slate" not in letter.body
    assert cast.client_of("grader").get(url).status_code == 200


@pytest.mark.parametrize("who", ["a stranger", "a youth", "a shut out member"])
def test_nobody_but_an_adult_member_is_added_and_the_sentence_is_the_same(cast, who):
    make_member("Wren Millbrook", email="youth@example.org", guardian=cast.fellow)
    make_member("Corin Shutter", email="shut@example.org", is_active=False)
    email = {"a stranger": "x@example.org", "a youth": "youth@example.org"}.get(who, "shut@example.org")
    response = cast.client_of("keeper").post(reverse("herd-owners", args=[cast.herd.slug]), {"email": email})
    assert response.status_code == 422
    assert "No adult member of the club has this e-mail address." in response.content.decode()
    assert len(cast.herd.owner_names) == 2


def test_an_owner_is_not_added_twice_and_a_mentor_who_becomes_owner_needs_no_grant(cast):
    with pytest.raises(ValidationError, match="already owns this herd"):
        add_owner(herd=cast.herd, email=cast.co_owner.email, by=cast.keeper)
    add_owner(herd=cast.herd, email=cast.mentor.email, by=cast.keeper)
    assert not cast.herd.grants.running().filter(mentor=cast.mentor).exists()


def test_an_owner_leaves_after_being_asked_and_can_come_back(cast):
    ownership = cast.herd.ownerships.get(member=cast.co_owner)
    url = reverse("owner-end", args=[cast.herd.slug, ownership.pk])
    client = cast.client_of("co_owner")
    assert "Leave Ashgrove?" in client.get(url).content.decode()
    assert client.post(url).url == reverse("herd-list")
    ownership.refresh_from_db()
    assert ownership.until == TODAY()
    assert client.get(reverse("herd-owners", args=[cast.herd.slug])).status_code == 404
    assert mail.outbox == []
    add_owner(herd=cast.herd, email=cast.co_owner.email, by=cast.keeper)
    text = cast.client_of("keeper").get(reverse("herd-owners", args=[cast.herd.slug])).content.decode()
    assert "Earlier owners" in text


def test_an_owner_takes_another_out_who_is_told(cast):
    ownership = cast.herd.ownerships.get(member=cast.co_owner)
    url = reverse("owner-end", args=[cast.herd.slug, ownership.pk])
    client = cast.client_of("keeper")
    assert "Take Tomas Ashgrove out of Ashgrove?" in client.get(url).content.decode()
    assert client.post(url).url == reverse("herd-owners", args=[cast.herd.slug])
    assert mail.outbox[0].to == [cast.co_owner.email]
    assert client.post(url).status_code == 404


def test_the_last_owner_stays(cast):
    ownership = cast.other_herd.ownerships.get()
    url = reverse("owner-end", args=[cast.other_herd.slug, ownership.pk])
    response = cast.client_of("fellow").post(url, follow=True)
    assert "Millbrook needs an owner." in response.content.decode()
    assert cast.other_herd.owner_names == ["Rhea Millbrook"]


def test_a_co_owner_who_was_shut_out_is_no_owner_to_leave_the_herd_to(cast):
    type(cast.co_owner).objects.filter(pk=cast.co_owner.pk).update(is_active=False)
    with pytest.raises(ValidationError, match="needs an owner"):
        end_ownership(ownership=cast.herd.ownerships.get(member=cast.keeper), by=cast.keeper)


def test_an_owner_of_one_herd_ends_no_ownership_of_another(cast):
    ownership = cast.other_herd.ownerships.get()
    url = reverse("owner-end", args=[cast.herd.slug, ownership.pk])
    assert cast.client_of("keeper").post(url).status_code == 404


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_of_two_owners_who_leave_at_once_one_stays():
    one, two = make_member("Ida Ashgrove"), make_member("Tomas Ashgrove")
    herd = make_herd(one, two, name="Ashgrove")
    together, outcomes = threading.Barrier(2), []

    def leave(member):
        try:
            ownership = herd.ownerships.get(member=member)
            together.wait(timeout=10)
            end_ownership(ownership=ownership, by=member)
            outcomes.append("left")
        except ValidationError:
            outcomes.append("stayed")
        finally:
            connection.close()

    threads = [threading.Thread(target=leave, args=(member,)) for member in (one, two)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(outcomes) == ["left", "stayed"]
    assert len(herd.owner_names) == 1


def test_the_owners_page_costs_the_same_for_many(cast, django_assert_num_queries):
    for number in range(12):
        add_owner(herd=cast.herd, email=make_member(f"Owner {number}").email, by=cast.keeper)
    client = cast.client_of("keeper")
    client.get(reverse("herd-owners", args=[cast.herd.slug]))
    with django_assert_num_queries(5):  # session, member, herd, owners, club
        client.get(reverse("herd-owners", args=[cast.herd.slug]))


# ---- Closing a herd ----


def test_a_herd_closes_when_no_animal_stands_in_it_and_opens_again(cast):
    client = cast.client_of("fellow")
    grant = make_grant(cast.other_herd, cast.mentor, cast.fellow)
    url = reverse("herd-close", args=[cast.other_herd.slug])
    assert "1 animal stands in Millbrook today." in client.post(url, follow=True).content.decode()
    cast.other_buck.herd.animals.update(status="moved_on", status_on=TODAY())
    client.post(url)
    cast.other_herd.refresh_from_db()
    grant.refresh_from_db()
    assert cast.other_herd.closed_on == TODAY()
    assert grant.revoked_at
    client.post(reverse("herd-reopen", args=[cast.other_herd.slug]))
    cast.other_herd.refresh_from_db()
    assert cast.other_herd.closed_on is None


def test_an_ownership_does_not_end_before_it_began(cast):
    """The database's own rule, whatever the code does."""
    with pytest.raises(IntegrityError), transaction.atomic():
        cast.herd.ownerships.update(until=TODAY() - timedelta(days=3))
