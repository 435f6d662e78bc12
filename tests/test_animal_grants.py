"""What a grant for a single animal opens, in every state that such a grant can be in."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from clubsite.errors import NotYours
from grading.models import Look, Photo
from herds.actions.animal_grants import close_animals, open_animals, revoke_animal_grant
from herds.models import Animal, AnimalGrant

from .factories import make_animal_grant, make_look, make_member
from .photos_made import ready_photo
from .queries import queries_of

NOTHING, PHOTOS, ALL = "nothing", "photos and grading", "looks too"


def day(ahead):
    return timezone.localdate() + timedelta(days=ahead)


def revoked(cast):
    return {"revoked_at": timezone.now(), "revoked_by": cast.keeper}


# The state of the grant, and what it opens. `grant` is what the grant's row has, `after` what happens then.
STATES = {
    "none": (None, None, NOTHING),
    "running": ({}, None, PHOTOS),
    "running, its last day": ({"ends_on": "today"}, None, PHOTOS),
    "running, may not grade": ({"may_grade": False}, None, "photos"),
    "running, graded blind": ({"with_looks": True}, None, ALL),
    "ended yesterday": ({"starts_on": -9, "ends_on": -1, "with_looks": True}, None, NOTHING),
    "not started": ({"starts_on": 1, "ends_on": 9, "with_looks": True}, None, NOTHING),
    "revoked": ({"with_looks": True, "revoked": True}, None, NOTHING),
    "animal moved to another herd": ({"with_looks": True}, "moved", NOTHING),
    "mentor inactive": ({"with_looks": True}, "inactive", "signed out"),
    "mentor became a youth account": ({"with_looks": True}, "youth", NOTHING),
}


@pytest.fixture
def mentor(db):
    return make_member("Odo Farthing", takes_reviews=True)


@pytest.fixture
def things(cast):
    """A finished look and a photo of the daughter, whose herd shares nothing; and the same of her dam."""
    return {animal: (make_look(animal, cast.keeper), ready_photo(animal)) for animal in (cast.daughter, cast.dam)}


def grant_in(state, cast, mentor):
    given, after, _ = STATES[state]
    if given is not None:
        row = dict(given)
        if row.pop("revoked", False):
            row |= revoked(cast)
        for name in ("starts_on", "ends_on"):
            if name in row:
                row[name] = day(0 if row[name] == "today" else row[name])
        make_animal_grant(cast.daughter, mentor, cast.keeper, **row)
    if after == "moved":
        Animal.objects.filter(pk=cast.daughter.pk).update(herd=cast.other_herd)
    if after == "inactive":
        type(mentor).objects.filter(pk=mentor.pk).update(is_active=False)
    if after == "youth":
        type(mentor).objects.filter(pk=mentor.pk).update(takes_reviews=False, guardian=cast.fellow)


@pytest.mark.parametrize("state", STATES)
def test_each_state_of_a_grant_opens_what_it_should_and_no_other_animal(client, cast, mentor, things, state):
    grant_in(state, cast, mentor)
    opens = STATES[state][2]
    client.force_login(mentor, backend="allauth.account.auth_backends.AuthenticationBackend")
    look, photo = things[cast.daughter]
    got = {
        "animal page": client.get(cast.daughter.get_absolute_url()),
        "look list": client.get(reverse("look-list", args=[cast.daughter.pk])),
        "look": client.get(look.get_absolute_url()),
        "photos": client.get(reverse("photo-list", args=[cast.daughter.pk])),
        "photo": client.get(reverse("photo-detail", args=[photo.key])),
        "small file": client.get(reverse("photo-file", args=[photo.key, "320"])),
        "large file": client.get(reverse("photo-file", args=[photo.key, "2048"])),
        "original": client.get(reverse("photo-file", args=[photo.key, "original"])),
        "grading": client.get(reverse("look-create", args=[cast.daughter.pk])),
    }
    for response in got.values():
        if response.streaming:
            response.getvalue()  # which closes the photo's file
    statuses = {name: response.status_code for name, response in got.items()}
    if opens == "signed out":
        assert set(statuses.values()) == {302}
        return
    seen, graded, looks = opens != NOTHING, opens in (PHOTOS, ALL), opens == ALL
    assert statuses["animal page"] == 200, "the registry card is the club's"
    assert statuses["look list"] == 200, "the list says in words when nothing is open"
    assert {statuses[name] for name in ("photos", "photo", "small file", "large file")} == {200 if seen else 404}
    assert statuses["grading"] == (200 if graded else 404)
    assert statuses["look"] == (200 if looks else 404)
    card = got["animal page"].content.decode()
    assert (photo.key.hex in card.replace("-", "")) == seen
    assert (look.get_absolute_url() in got["look list"].content.decode()) == looks
    # Nothing of the dam, of whom no grant says anything.
    other_look, other_photo = things[cast.dam]
    for url in (
        other_look.get_absolute_url(),
        reverse("photo-list", args=[cast.dam.pk]),
        reverse("photo-file", args=[other_photo.key, "320"]),
        reverse("look-create", args=[cast.dam.pk]),
    ):
        assert client.get(url).status_code == 404


@pytest.mark.parametrize("state", STATES)
def test_the_querysets_say_the_same_as_the_pages(cast, mentor, things, state):
    grant_in(state, cast, mentor)
    mentor.refresh_from_db()
    opens = STATES[state][2]
    look, photo = things[cast.daughter]
    assert set(Photo.objects.visible_to(mentor)) == ({photo} if opens in ("photos", PHOTOS, ALL) else set())
    assert set(Animal.objects.gradable_by(mentor)) == ({cast.daughter} if opens in (PHOTOS, ALL) else set())
    assert set(Look.objects.visible_to(mentor)) == ({look} if opens == ALL else set())


def test_the_mentor_sees_the_own_look_at_once_and_nobody_elses(cast, mentor, things):
    make_animal_grant(cast.daughter, mentor, cast.keeper)
    own = make_look(cast.daughter, mentor, mode="photo", role="mentor")
    assert set(Look.objects.visible_to(mentor)) == {own}


# ---- Giving, making longer, ending ----


def test_a_running_grant_is_made_longer_and_its_looks_are_closed_until_the_mentor_has_graded_anew(cast, mentor):
    make_animal_grant(cast.daughter, mentor, cast.keeper, ends_on=day(5), with_looks=True)
    open_animals(animals=[cast.daughter, cast.dam], mentor=mentor, ends_on=day(20), by=cast.co_owner)
    grants = AnimalGrant.objects.filter(revoked_at=None).order_by("pk")
    assert [(grant.animal, grant.ends_on, grant.with_looks) for grant in grants] == [
        (cast.daughter, day(20), False),
        (cast.dam, day(20), False),
    ]
    assert AnimalGrant.objects.count() == 2


def test_a_shorter_wish_does_not_cut_a_running_grant_short(cast, mentor):
    make_animal_grant(cast.daughter, mentor, cast.keeper, ends_on=day(30))
    open_animals(animals=[cast.daughter], mentor=mentor, ends_on=day(5), by=cast.keeper)
    assert AnimalGrant.objects.get().ends_on == day(30)


def test_a_grant_that_ran_out_or_was_an_earlier_owners_makes_room_for_a_new_one(cast, mentor):
    make_animal_grant(cast.daughter, mentor, cast.keeper, starts_on=day(-9), ends_on=day(-1))
    open_animals(animals=[cast.daughter], mentor=mentor, ends_on=day(5), by=cast.keeper)
    Animal.objects.filter(pk=cast.daughter.pk).update(herd=cast.other_herd)
    cast.daughter.refresh_from_db()
    assert not AnimalGrant.objects.running().exists()
    open_animals(animals=[cast.daughter], mentor=mentor, ends_on=day(5), by=cast.fellow)
    assert AnimalGrant.objects.running().get().herd == cast.other_herd
    assert AnimalGrant.objects.filter(revoked_at__isnull=False).count() == 2


def test_owners_and_the_mentor_end_a_grant_and_nobody_else(cast, mentor):
    grant = make_animal_grant(cast.daughter, mentor, cast.keeper)
    for stranger in (cast.fellow, cast.mentor, cast.officer):
        with pytest.raises(NotYours):
            revoke_animal_grant(grant=grant, by=stranger)
    revoke_animal_grant(grant=grant, by=mentor)
    assert not AnimalGrant.objects.running().exists()
    with pytest.raises(ValidationError, match="already revoked"):
        revoke_animal_grant(grant=grant, by=cast.keeper)
    open_animals(animals=[cast.daughter], mentor=mentor, ends_on=day(5), by=cast.keeper)
    assert close_animals(animals=[cast.daughter], mentor=mentor, by=cast.keeper) == 1


# ---- The page of grants, one's own data, and leaving ----


def test_both_sides_find_the_grant_on_the_page_of_grants_and_end_it_there(cast, mentor, client):
    grant = make_animal_grant(cast.daughter, mentor, cast.keeper)
    client.force_login(mentor, backend="allauth.account.auth_backends.AuthenticationBackend")
    page = client.get(reverse("grant-list")).content.decode()
    assert "A3 Alder" in page
    assert "Hand back" in page
    owner = cast.client_of("co_owner")
    assert "Odo Farthing" in owner.get(reverse("grant-list")).content.decode()
    url = reverse("animal-grant-revoke", args=[grant.pk])
    assert "Close A3 Alder to Odo Farthing?" in owner.get(url).content.decode()
    assert "Odo Farthing sees A3 Alder no longer." in owner.post(url, follow=True).content.decode()
    grant.refresh_from_db()
    assert grant.revoked_by == cast.co_owner
    answer = owner.post(url, follow=True).content.decode()
    assert "was already revoked" in answer


def test_the_page_of_grants_costs_the_same_for_many_animals(cast, mentor):
    client = cast.client_of("keeper")
    make_animal_grant(cast.daughter, mentor, cast.keeper)
    one = queries_of(client, reverse("grant-list"))
    for animal in (cast.dam, cast.sire):
        make_animal_grant(animal, mentor, cast.keeper)
    assert queries_of(client, reverse("grant-list")) == one


def test_a_members_data_and_the_sentences_before_leaving_name_these_grants(cast, mentor):
    from clubsite.members.places import PLACES

    make_animal_grant(cast.daughter, mentor, cast.keeper)
    rows = PLACES.files["animal-grants"].rows
    assert [row[1] for row in rows(cast.keeper)] == [row[1] for row in rows(mentor)] == ["A3 Alder"]
    assert not list(rows(cast.fellow))
    said = " ".join(PLACES.leavings["herds"].explain(mentor))
    assert "Single animals that were open to you for a review are closed to you." in said
