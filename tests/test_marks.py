"""Marks are added and replaced, never overwritten."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from herds.actions.marks import add_mark, replace_mark
from herds.models import Animal, Correction, Mark

from .factories import make_animal


def today():
    return timezone.localdate()


def refused(action, **given):
    with pytest.raises(ValidationError) as refusal:
        action(**given)
    return " ".join(refusal.value.messages)


def test_an_animal_tattooed_again_keeps_its_old_mark_readable(cast):
    old = cast.daughter.marks.get()
    new = replace_mark(mark=old, text="A3B", reason="faded", by=cast.keeper)
    old.refresh_from_db()
    assert (old.text, old.replaced_by, old.replaced_on, old.reason) == ("A3", new, today(), "faded")
    assert (new.issued_by, new.issued_on, new.kind) == (cast.herd, today(), "left_ear")
    assert Animal.objects.get(pk=cast.daughter.pk).mark_text == "A3B"
    row = Correction.objects.get()
    assert (row.field, row.old, row.new, row.reason) == ("left-ear tattoo", "A3", "A3B", "faded")
    html = cast.client_of("fellow").get(cast.daughter.get_absolute_url()).content.decode()
    assert "<s>A3</s>, replaced by A3B" in html
    assert "faded" not in html
    assert "faded" in cast.client_of("keeper").get(cast.daughter.get_absolute_url()).content.decode()


def test_the_old_mark_is_free_again_and_a_mark_is_replaced_once(cast):
    old = cast.daughter.marks.get()
    replace_mark(mark=old, text="A3B", reason="faded", by=cast.keeper)
    assert "was already replaced" in refused(replace_mark, mark=old, text="A3C", reason="again", by=cast.keeper)
    make_animal(cast.herd, "A3")


def test_replacing_says_what_is_wrong(cast):
    old = cast.daughter.marks.get()
    replace = {"mark": old, "by": cast.keeper}
    assert "Say why" in refused(replace_mark, text="A3B", reason="  ", **replace)
    assert "A1 Slate already has the left-ear tattoo A 1" in refused(replace_mark, text="A 1", reason="x", **replace)
    soon = today() + timedelta(days=1)
    assert "lies in the future" in refused(replace_mark, text="A3B", reason="x", on=soon, **replace)
    assert Mark.objects.filter(animal=cast.daughter).count() == 1


def test_a_lost_ring_ends_without_a_successor(cast):
    ring = add_mark(animal=cast.daughter, kind="ring", text="VS 22 7", issuer_name="Vale office", by=cast.keeper)
    replace_mark(mark=ring, reason="lost", by=cast.keeper)
    ring.refresh_from_db()
    assert (ring.replaced_on, ring.replaced_by) == (today(), None)


def test_a_number_stands_on_one_animal(cast):
    ring = {"kind": "ring", "text": "VS 22 7", "issuer_name": "Vale office"}
    add_mark(animal=cast.daughter, by=cast.keeper, **ring)
    said = refused(add_mark, animal=cast.other_buck, by=cast.fellow, **ring)
    assert "A3 Alder already has the ring VS 22 7" in said
    assert "already has the ring" in refused(add_mark, animal=cast.daughter, by=cast.keeper, **ring | {"text": "9"})


def test_a_mark_is_checked_against_the_days_of_its_animal(cast):
    before = cast.daughter.born_on - timedelta(days=1)
    given = {"animal": cast.daughter, "kind": "ring", "text": "7", "by": cast.keeper}
    assert "not yet born" in refused(add_mark, issued_on=before, **given)
    assert "future" in refused(add_mark, issued_on=today() + timedelta(days=5), **given)
    assert "Type the mark" in refused(add_mark, **given | {"text": " "})


def test_strangers_do_not_mark(cast):
    given = {"kind": "ring", "text": "7", "by": cast.fellow}
    assert "Only its owner" in refused(add_mark, animal=cast.daughter, **given)
    assert "Only its owner" in refused(replace_mark, mark=cast.daughter.marks.get(), reason="x", by=cast.fellow)


def test_a_mark_is_added_and_replaced_on_its_pages(cast):
    client = cast.client_of("keeper")
    url = reverse("mark-create", args=[cast.daughter.pk])
    offered = [value for value, _ in client.get(url).context["form"].fields["kind"].choices]
    assert "left_ear" not in offered
    assert client.post(url, {"kind": "registration", "mark": "R 100"}).status_code == 302
    assert client.post(url, {"kind": "left_ear", "mark": "A4"}).status_code == 422
    response = client.post(url, {"kind": "right_ear", "mark": ""}, headers={"HX-Request": "true"})
    assert response.status_code == 422
    replace = reverse("mark-replace", args=[cast.daughter.marks.get(kind="left_ear").pk])
    assert client.post(replace, {"mark": "A3B", "reason": "", "on": today()}).status_code == 422
    assert client.post(replace, {"mark": "A3B", "reason": "faded", "on": today()}).status_code == 302
    assert client.get(replace).status_code == 404
    assert cast.client_of("registrar").post(
        reverse("mark-create", args=[cast.dam.pk]), {"kind": "ring", "mark": "7"}
    ).status_code == 302  # fmt: skip
