"""Keep, grow on, let go: single, in bulk, taken back; and where animals are now."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from herds.actions.animals import change_status
from herds.actions.decisions import decide, undo_decisions
from herds.actions.quarantine import end_quarantine, start_quarantine
from herds.forms.care import reasons_at_hand
from herds.models import Animal, Decision, Quarantine


def today():
    return timezone.localdate()


def verdict_of(animal):
    return Animal.objects.with_decision().get(pk=animal.pk).verdict


def refused(action, **given):
    with pytest.raises(ValidationError) as refusal:
        action(**given)
    return " ".join(refusal.value.messages)


def test_the_last_decision_counts_and_the_earlier_stay(cast):
    decide(animals=[cast.daughter], verdict="grow_on", by=cast.keeper)
    decide(animals=[cast.daughter], verdict="keep", reason="undercolor", by=cast.co_owner)
    assert verdict_of(cast.daughter) == "keep"
    assert Decision.objects.count() == 2


def test_a_decision_entered_late_does_not_overrule_a_later_day(cast):
    decide(animals=[cast.daughter], verdict="keep", by=cast.keeper)
    decide(animals=[cast.daughter], verdict="grow_on", by=cast.keeper, on=today() - timedelta(days=3))
    assert verdict_of(cast.daughter) == "keep"


def test_what_is_refused(cast):
    given = {"animals": [cast.daughter], "by": cast.keeper}
    assert "Say in a word why" in refused(decide, verdict="let_go", **given)
    assert "Choose keep" in refused(decide, verdict="open", **given)
    assert "lies in the future" in refused(decide, verdict="keep", on=today() + timedelta(days=1), **given)
    assert "300 letters" in refused(decide, verdict="keep", reason="x" * 301, **given)
    assert "no longer stands" in refused(decide, animals=[cast.daughter], verdict="keep", by=cast.fellow)
    assert "no longer stands" in refused(
        decide, animals=[cast.daughter, cast.other_buck], verdict="keep", by=cast.keeper
    )
    assert not Decision.objects.exists()


def test_letting_go_does_not_change_where_the_animal_is(cast):
    decide(animals=[cast.daughter], verdict="let_go", reason="no room", by=cast.keeper)
    assert Animal.objects.get(pk=cast.daughter.pk).status == "here"


def test_taking_back_restores_what_was_before_as_a_new_row(cast):
    decide(animals=[cast.daughter], verdict="grow_on", reason="small", by=cast.keeper)
    batch = decide(animals=[cast.daughter, cast.dam], verdict="keep", by=cast.keeper)[0].batch
    restored, skipped = undo_decisions(batch=batch, by=cast.co_owner)
    assert (len(restored), skipped) == (2, [])
    assert (verdict_of(cast.daughter), verdict_of(cast.dam)) == ("grow_on", None)
    last = Decision.objects.filter(animal=cast.daughter).first()
    assert (last.verdict, last.reason, last.by) == ("grow_on", "small", cast.co_owner)
    assert Decision.objects.filter(animal=cast.daughter).count() == 3


def test_what_was_decided_again_since_is_not_taken_back(cast):
    batch = decide(animals=[cast.daughter, cast.dam], verdict="keep", by=cast.keeper)[0].batch
    decide(animals=[cast.dam], verdict="let_go", reason="old", by=cast.keeper)
    _, skipped = undo_decisions(batch=batch, by=cast.keeper)
    assert skipped == [cast.dam]
    assert (verdict_of(cast.daughter), verdict_of(cast.dam)) == (None, "let_go")


def test_reasons_given_often_are_at_hand(cast):
    for reason in ("cream cast", "cream cast; no room", "a very long reason that nobody wants on a chip"):
        decide(animals=[cast.daughter], verdict="keep", reason=reason, by=cast.keeper)
    chips = reasons_at_hand([cast.herd])
    assert chips[0] == "cream cast"
    assert "no room" in chips
    assert all(len(chip) <= 30 for chip in chips)
    assert "cream cast" not in reasons_at_hand([cast.other_herd])


def test_one_animal_is_decided_on_its_page_and_undone_from_the_notice(cast):
    client = cast.client_of("keeper")
    url = reverse("decision-create", args=[cast.daughter.pk])
    values = {"verdict": "let_go", "because": ["type", "no room"], "reason": "long hocks", "decided_on": today()}
    page = client.post(url, values, follow=True)
    assert Decision.objects.get().reason == "type; no room; long hocks"
    assert reverse("decision-undo", args=[Decision.objects.get().batch]) in page.content.decode()
    page = client.post(reverse("decision-undo", args=[Decision.objects.get().batch]), follow=True)
    assert "Taken back for A3 Alder." in page.content.decode()
    assert verdict_of(cast.daughter) is None
    response = client.post(url, values | {"because": [], "reason": ""}, headers={"HX-Request": "true"})
    assert response.status_code == 422
    assert "Say in a word why" in response.content.decode()


def bulk(cast, who="keeper", **values):
    return cast.client_of(who).post(reverse("herd-decide", args=[cast.herd.slug]), values)


def test_many_are_decided_at_once_and_the_page_comes_back_as_it_was(cast):
    back = cast.herd.get_absolute_url() + "?sort=-born&page=2"
    response = bulk(cast, animal=[cast.dam.pk, cast.daughter.pk], verdict="keep", reason="type", back=back)
    assert response.url == back
    assert (verdict_of(cast.dam), verdict_of(cast.daughter)) == ("keep", "keep")
    assert len(set(Decision.objects.values_list("batch", flat=True))) == 1


def test_many_are_let_go_with_a_reason_that_is_asked_for(cast):
    response = bulk(cast, animal=[cast.dam.pk, cast.daughter.pk], verdict="let_go")
    assert response.status_code == 422
    html = response.content.decode()
    assert f'name="animal" value="{cast.dam.pk}"' in html
    assert not Decision.objects.exists()


def test_a_bulk_without_animals_or_with_those_of_others_changes_nothing(cast):
    assert "Tick at least one" in cast.client_of("keeper").post(
        reverse("herd-decide", args=[cast.herd.slug]), {"verdict": "keep"}, follow=True
    ).content.decode()  # fmt: skip
    bulk(cast, animal=[cast.other_buck.pk, "x", "9" * 30], verdict="keep")
    assert not Decision.objects.exists()


def test_the_way_back_leads_nowhere_else(cast):
    for back in ("https://example.org/", "//example.org", "/herds/millbrook/", cast.herd.get_absolute_url() + "x"):
        response = bulk(cast, animal=[cast.dam.pk], verdict="keep", back=back)
        assert response.url == cast.herd.get_absolute_url()


def test_many_left_at_once(cast):
    url = reverse("herd-status", args=[cast.herd.slug])
    client, animals = cast.client_of("keeper"), [cast.dam.pk, cast.daughter.pk]
    start_quarantine(animal=cast.daughter, by=cast.keeper)
    asked = client.post(url, {"animal": animals, "verdict": "keep"})
    assert asked.status_code == 200
    assert "Where are they now?" in asked.content.decode()
    wrong = client.post(url, {"animal": animals, "status": "died", "on": today() - timedelta(days=400)})
    assert wrong.status_code == 422
    assert "A3 Alder was born on" in wrong.content.decode()
    done = client.post(url, {"animal": animals, "status": "table", "on": today(), "note": "spring"})
    assert done.status_code == 302
    rows = Animal.objects.filter(pk__in=animals).values_list("status", "status_on", "status_note")
    assert set(rows) == {("table", today(), "spring")}
    assert Quarantine.objects.get().ended_on == today()


def test_a_status_is_one_of_ours_and_not_in_the_future(cast):
    given = {"animals": [cast.daughter], "by": cast.keeper}
    assert "Choose where" in refused(change_status, status="sold", **given)
    assert "Choose where" in refused(change_status, status="outside", **given)
    assert "lies in the future" in refused(change_status, status="died", on=today() + timedelta(days=1), **given)
    url = reverse("animal-status", args=[cast.daughter.pk])
    client = cast.client_of("keeper")
    assert client.post(url, {"status": "", "on": today()}).status_code == 422
    assert client.post(url, {"status": "on_loan", "on": today()}).status_code == 302
    assert Animal.objects.get(pk=cast.daughter.pk).is_here


def test_a_quarantine_is_opened_once_and_ended_once(cast):
    client = cast.client_of("keeper")
    url = reverse("quarantine-create", args=[cast.daughter.pk])
    page = client.get(url)
    assert page.context["form"]["planned_until"].initial == today() + timedelta(days=30)
    assert "Keep newcomers" in page.content.decode()
    days = {"started_on": today(), "planned_until": today() - timedelta(days=1)}
    assert "ends before it starts" in client.post(url, days).content.decode()
    days["planned_until"] = today() + timedelta(days=30)
    assert client.post(url, days | {"reason": "show"}).status_code == 302
    assert "already in quarantine, until" in client.post(url, days).content.decode()
    quarantine = Quarantine.objects.get()
    end = reverse("quarantine-end", args=[quarantine.pk])
    assert client.get(end).status_code == 405
    client.post(end)
    quarantine.refresh_from_db()
    assert quarantine.ended_on == today()
    assert client.post(end).status_code == 302
    assert "began on" in refused(end_quarantine, quarantine=quarantine, by=cast.keeper, on=today() - timedelta(days=9))
