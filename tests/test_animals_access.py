"""Who gets which page of herds, animals, marks, decisions, quarantine and transfers."""

import uuid

import pytest
from django.urls import reverse

from herds.actions.decisions import decide
from herds.actions.quarantine import start_quarantine
from herds.actions.transfers import offer_animal

from .cast import PEOPLE

MEMBERS = [who for who in PEOPLE if who != "visitor"]
KEEPERS = ("keeper", "co_owner")


def answers(cast, url, method="get"):
    """{who: status}, the visitor's redirect to the sign-in page included."""
    return {who: getattr(cast.client_of(who), method)(url).status_code for who in PEOPLE}


def only(allowed, *, ok=200, others=404):
    return {who: ok if who in allowed else 302 if who == "visitor" else others for who in PEOPLE}


@pytest.mark.parametrize("name", ["herd-list", "animal-list", "animal-csv", "animal-create", "transfer-list"])
def test_every_member_opens_the_lists(cast, name):
    assert answers(cast, reverse(name)) == only(MEMBERS)


def test_every_member_opens_cards_and_herds(cast):
    assert answers(cast, cast.herd.get_absolute_url()) == only(MEMBERS)
    assert answers(cast, cast.daughter.get_absolute_url()) == only(MEMBERS)
    assert answers(cast, reverse("herd-csv", args=[cast.herd.slug])) == only(MEMBERS)
    assert answers(cast, reverse("animal-suggest") + "?field=sire&sex=buck&sire=A1") == only(MEMBERS)


@pytest.mark.parametrize(
    "name", ["animal-update", "animal-status", "decision-create", "quarantine-create", "transfer-create"]
)
def test_only_its_keepers_change_an_animal(cast, name):
    assert answers(cast, reverse(name, args=[cast.daughter.pk])) == only(KEEPERS)
    assert answers(cast, reverse(name, args=[cast.daughter.pk]), "post") == only(KEEPERS, ok=422)


def test_only_the_registrar_corrects_identity(cast):
    assert answers(cast, reverse("animal-correct", args=[cast.daughter.pk])) == only(["registrar"])


def test_keepers_and_the_registrar_mark(cast):
    allowed = [*KEEPERS, "registrar"]
    assert answers(cast, reverse("mark-create", args=[cast.daughter.pk])) == only(allowed)
    assert answers(cast, reverse("mark-replace", args=[cast.daughter.marks.get().pk])) == only(allowed)


def test_only_keepers_decide_in_bulk(cast):
    for name in ("herd-decide", "herd-status"):
        url = reverse(name, args=[cast.herd.slug])
        assert answers(cast, url, "post") == only(KEEPERS, ok=302)
        assert cast.client_of("keeper").get(url).status_code == 405


def test_only_keepers_take_a_decision_back_or_end_a_quarantine(cast):
    batch = decide(animals=[cast.daughter], verdict="keep", by=cast.keeper)[0].batch
    undo = reverse("decision-undo", args=[batch])
    quarantine = start_quarantine(animal=cast.daughter, by=cast.keeper)
    end = reverse("quarantine-end", args=[quarantine.pk])
    for who in ("fellow", "mentor", "revoked_mentor", "registrar", "officer", "grader"):
        assert cast.client_of(who).post(undo).status_code == 404
        assert cast.client_of(who).post(end).status_code == 404
    assert cast.client_of("keeper").post(undo).status_code == 302
    assert cast.client_of("co_owner").post(end).status_code == 302
    assert cast.client_of("keeper").post(reverse("decision-undo", args=[uuid.uuid4()])).status_code == 404


def test_both_sides_and_the_registrar_know_of_a_transfer(cast):
    transfer = offer_animal(animal=cast.daughter, to_herd=cast.other_herd, by=cast.keeper)
    allowed = [*KEEPERS, "fellow", "registrar"]
    assert answers(cast, reverse("transfer-detail", args=[transfer.pk])) == only(allowed)
    assert answers(cast, reverse("transfer-answer", args=[transfer.pk]), "post") == only(allowed, ok=302)
    assert cast.daughter.transfers.get().outcome == "open"


def test_a_page_that_is_not_there_answers_as_one_that_may_not_be_known(cast):
    client = cast.client_of("keeper")
    for name in ("animal-detail", "animal-update", "animal-correct", "transfer-detail", "mark-replace"):
        assert client.get(reverse(name, args=[999_999_999])).status_code == 404
    assert client.get(reverse("herd-detail", args=["no-such-herd"])).status_code == 404
    assert client.get("/animals/99999999999999999999999/").status_code == 404
