"""From herd to herd: offered, accepted, refused, withdrawn, settled; what goes along and what stays."""

import threading
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from herds.actions.animals import change_status
from herds.actions.decisions import decide
from herds.actions.quarantine import start_quarantine
from herds.actions.transfers import accept_transfer, offer_animal, refuse_transfer, withdraw_transfer
from herds.models import Animal, Decision, Quarantine, Transfer

from .cast import make_cast
from .factories import make_animal, make_herd
from .queries import queries_of


def today():
    return timezone.localdate()


def refused(action, **given):
    with pytest.raises(ValidationError) as refusal:
        action(**given)
    return " ".join(refusal.value.messages)


@pytest.fixture
def offer(cast):
    Animal.objects.filter(pk=cast.daughter.pk).update(notes="Bit a judge.", offered_to_club=True)
    return offer_animal(animal=cast.daughter, to_herd=cast.other_herd, by=cast.keeper, note="Good doe.")


def test_an_accepted_animal_moves_into_quarantine_and_its_card_stays(cast, offer):
    animal = Animal.objects.get(pk=cast.daughter.pk)
    assert animal.herd == cast.herd
    accept_transfer(transfer=offer, by=cast.fellow)
    animal.refresh_from_db()
    assert (animal.herd, animal.status, animal.status_on, animal.bred_in) == (
        cast.other_herd, "here", today(), cast.herd,
    )  # fmt: skip
    assert (animal.notes, animal.offered_to_club) == ("", False)
    quarantine = Quarantine.objects.get(animal=animal)
    assert (quarantine.herd, quarantine.planned_until) == (cast.other_herd, today() + timedelta(days=30))
    assert quarantine.reason == "new from Ashgrove"


def test_what_the_earlier_owner_wrote_stays_theirs(cast, offer):
    decide(animals=[cast.daughter], verdict="let_go", reason="asked too much", by=cast.keeper)
    start_quarantine(animal=cast.daughter, by=cast.keeper, reason="sneezed")
    accept_transfer(transfer=offer, by=cast.fellow)
    html = cast.client_of("fellow").get(cast.daughter.get_absolute_url()).content.decode()
    for private in ("Bit a judge", "asked too much", "sneezed"):
        assert private not in html
    assert Quarantine.objects.get(reason="sneezed").ended_on == today()
    page = reverse("transfer-detail", args=[offer.pk])
    assert "Bit a judge" in cast.client_of("keeper").get(page).content.decode()
    assert "Bit a judge" not in cast.client_of("fellow").get(page).content.decode()
    html = cast.client_of("keeper").get(cast.daughter.get_absolute_url()).content.decode()
    assert "Decide" not in html
    assert cast.client_of("keeper").get(reverse("animal-update", args=[cast.daughter.pk])).status_code == 404


def test_notes_go_along_when_the_owner_says_so(cast):
    Animal.objects.filter(pk=cast.daughter.pk).update(notes="Calm.")
    offer = offer_animal(animal=cast.daughter, to_herd=cast.other_herd, by=cast.keeper, hand_over_notes=True)
    accept_transfer(transfer=offer, by=cast.fellow, quarantine=False)
    assert Animal.objects.get(pk=cast.daughter.pk).notes == "Calm."
    assert not Quarantine.objects.exists()


def test_an_animal_offered_ahead_moves_on_the_day_it_is_accepted(cast):
    soon = today() + timedelta(days=10)
    offer = offer_animal(animal=cast.daughter, to_herd=cast.other_herd, by=cast.keeper, on=soon)
    accept_transfer(transfer=offer, by=cast.fellow)
    offer.refresh_from_db()
    assert offer.on == today()


def test_refusing_and_withdrawing_leave_the_animal_where_it_is(cast, offer):
    refuse_transfer(transfer=offer, by=cast.fellow)
    assert Animal.objects.get(pk=cast.daughter.pk).herd == cast.herd
    again = offer_animal(animal=cast.daughter, to_herd=cast.other_herd, by=cast.co_owner)
    withdraw_transfer(transfer=again, by=cast.keeper)
    assert [row.outcome for row in Transfer.objects.order_by("pk")] == ["refused", "withdrawn"]


def test_only_the_right_side_and_the_registrar_answer(cast, offer):
    assert "Only the owners of Millbrook" in refused(accept_transfer, transfer=offer, by=cast.keeper)
    assert "Only the owners of Ashgrove" in refused(withdraw_transfer, transfer=offer, by=cast.fellow)
    assert "Only the owners" in refused(refuse_transfer, transfer=offer, by=cast.officer)
    accept_transfer(transfer=offer, by=cast.registrar)
    offer.refresh_from_db()
    assert (offer.outcome, offer.settled_by) == ("accepted", cast.registrar)


def test_the_slower_one_reads_what_happened(cast, offer):
    withdraw_transfer(transfer=offer, by=cast.keeper)
    said = refused(accept_transfer, transfer=offer, by=cast.fellow)
    assert "The transfer of A3 Alder was already withdrawn" in said
    assert "Nothing was changed" in said
    url = reverse("transfer-answer", args=[offer.pk])
    page = cast.client_of("fellow").post(url, {"answer": "accept"}, follow=True)
    assert "was already withdrawn" in page.content.decode()


def test_what_cannot_be_offered_is_said(cast, offer):
    given = {"animal": cast.daughter, "by": cast.keeper}
    assert "already waits" in refused(offer_animal, to_herd=cast.other_herd, **given)
    withdraw_transfer(transfer=offer, by=cast.keeper)
    assert "already in Ashgrove" in refused(offer_animal, to_herd=cast.herd, **given)
    closed = make_herd(cast.fellow, closed_on=today())
    assert "is closed" in refused(offer_animal, to_herd=closed, **given)
    assert "at most 60 days ahead" in refused(
        offer_animal, to_herd=cast.other_herd, on=today() + timedelta(days=61), **given
    )
    assert "no longer stands in your herd" in refused(
        offer_animal, to_herd=cast.herd, animal=cast.daughter, by=cast.fellow
    )
    change_status(animals=[cast.daughter], status="died", by=cast.keeper)
    assert "recorded as “died”" in refused(offer_animal, to_herd=cast.other_herd, **given)


def test_an_animal_that_leaves_the_herd_is_no_longer_on_offer(cast, offer):
    change_status(animals=[cast.daughter], status="moved_on", by=cast.keeper)
    offer.refresh_from_db()
    assert offer.outcome == "withdrawn"


def test_between_ones_own_herds_an_animal_moves_at_once(cast):
    second = make_herd(cast.keeper, name="Ashgrove East")
    offer = offer_animal(animal=cast.daughter, to_herd=second, by=cast.keeper, hand_over_notes=True)
    assert (offer.outcome, Animal.objects.get(pk=cast.daughter.pk).herd) == ("accepted", second)
    assert not Quarantine.objects.exists()


def test_the_journey_through_the_pages(cast):
    keeper, fellow = cast.client_of("keeper"), cast.client_of("fellow")
    url = reverse("transfer-create", args=[cast.daughter.pk])
    assert keeper.post(url, {"to_herd": "", "on": today()}, headers={"HX-Request": "true"}).status_code == 422
    response = keeper.post(url, {"to_herd": cast.other_herd.pk, "on": today(), "note": "Good doe."})
    page = fellow.get(response.url).content.decode()
    assert "Good doe." in page
    assert "Keep newcomers" in page
    assert "A3 Alder" in fellow.get(reverse("transfer-list")).content.decode()
    assert "1 animal offered to you" in fellow.get(reverse("herd-list")).content.decode()
    assert "offered to you" not in keeper.get(reverse("herd-list")).content.decode()
    answer = reverse("transfer-answer", args=[Transfer.objects.get().pk])
    fellow.post(answer, {"answer": "perhaps"})
    assert Transfer.objects.get().outcome == "open"
    fellow.post(answer, {"answer": "accept", "quarantine": "on"})
    assert Animal.objects.get(pk=cast.daughter.pk).herd == cast.other_herd
    assert "A3 Alder" not in cast.client_of("mentor").get(reverse("transfer-list")).content.decode()
    assert "A3 Alder" in cast.client_of("registrar").get(reverse("transfer-list")).content.decode()


def test_the_list_costs_the_same_for_2_and_for_12_transfers(cast):
    client, url = cast.client_of("keeper"), reverse("transfer-list")

    def settle_one_and_leave_one(times):
        for _ in range(times):
            offer_animal(animal=make_animal(cast.herd), to_herd=cast.other_herd, by=cast.keeper)
            offer = offer_animal(animal=make_animal(cast.herd), to_herd=cast.other_herd, by=cast.keeper)
            refuse_transfer(transfer=offer, by=cast.fellow)

    settle_one_and_leave_one(1)
    few = queries_of(client, url)
    settle_one_and_leave_one(5)
    assert queries_of(client, url) == few == 7


@pytest.mark.django_db(transaction=True)
def test_accepting_and_withdrawing_at_once_ends_in_one_of_the_two():
    cast = make_cast()
    offer = offer_animal(animal=cast.daughter, to_herd=cast.other_herd, by=cast.keeper)
    said, begin = [], threading.Barrier(2, timeout=10)

    def answer(action, by):
        begin.wait()
        try:
            action(transfer=Transfer.objects.get(pk=offer.pk), by=by)
        except ValidationError as error:
            said.extend(error.messages)
        finally:
            connection.close()

    both = [threading.Thread(target=answer, args=pair)
            for pair in ((accept_transfer, cast.fellow), (withdraw_transfer, cast.keeper))]  # fmt: skip
    for each in both:
        each.start()
    for each in both:
        each.join(20)
    outcome = Transfer.objects.get(pk=offer.pk).outcome
    stands_in = Animal.objects.get(pk=cast.daughter.pk).herd
    assert len(said) == 1
    assert "was already" in said[0]
    assert (outcome, stands_in) in {("accepted", cast.other_herd), ("withdrawn", cast.herd)}
    assert Decision.objects.count() == 0
