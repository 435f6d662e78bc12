"""What the database itself refuses in the breeding log, whoever writes: each refusal has its sentence."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from herds.models import Kit, LitterEvent, Mating, MatingEvent, Weight

from .factories import make_animal, make_litter, make_mating


def ago(days):
    return timezone.localdate() - timedelta(days=days)


@pytest.fixture
def rows(cast):
    mating = make_mating(cast.dam, cast.other_buck, mated_on=ago(40))
    litter = make_litter(cast.dam, cast.sire, kits=2, born_on=ago(9))
    young = make_litter(make_animal(cast.herd, "B1", sex="doe"), cast.sire, kits=1, born_on=ago(1))
    return {"cast": cast, "mating": mating, "litter": litter, "young": young, "kit": litter.kits.first()}


FUTURE = "This day lies in the future. Choose today or an earlier day."
WRITES = {
    "a mating in the future": (
        lambda r: make_mating(r["cast"].daughter, r["cast"].other_buck, mated_on=ago(-3)), FUTURE),
    "a mating that ends in the future": (
        lambda r: Mating.objects.filter(pk=r["mating"].pk).update(ended_on=ago(-3)), FUTURE),
    "a palpation in the future": (
        lambda r: MatingEvent.objects.create(mating=r["mating"], kind="palpation", on=ago(-3), result="empty"), FUTURE),
    "a palpation before the mating": (
        lambda r: MatingEvent.objects.create(mating=r["mating"], kind="palpation", on=ago(41), result="empty"),
        "This day lies before the mating. Choose a later day."),
    "a palpation without a result": (
        lambda r: MatingEvent.objects.create(mating=r["mating"], kind="palpation", on=ago(20)),
        "Say what was felt: in kindle, empty, or not sure."),
    "a nest check before the birth": (
        lambda r: LitterEvent.objects.create(litter=r["litter"], kind="nest_check", on=ago(10)),
        "This day lies before the kindling. Choose a later day."),
    "a nest check in the future": (
        lambda r: LitterEvent.objects.create(litter=r["litter"], kind="nest_check", on=ago(-3)), FUTURE),
    "the nest box out twice": (
        lambda r: [LitterEvent.objects.create(litter=r["litter"], kind="nest_box_out", on=ago(day)) for day in (2, 1)],
        "The nest box of this litter is out already."),
    "a kit dead before its birth": (
        lambda r: Kit.objects.filter(pk=r["kit"].pk).update(died_on=ago(10)),
        "The kit was not yet born on this day. Choose a later day."),
    "a kit dead in the future": (lambda r: Kit.objects.filter(pk=r["kit"].pk).update(died_on=ago(-3)), FUTURE),
    "a kit fostered before its foster litter": (
        lambda r: Kit.objects.filter(pk=r["kit"].pk).update(fostered_on=ago(5), fostered_to=r["young"]),
        "The foster litter was not yet born on this day. Choose a later day."),
    "an animal weighed before its birth": (
        lambda r: Weight.objects.create(herd=r["cast"].herd, animal=r["cast"].daughter, grams=90, on=ago(301)),
        "Nothing was born to weigh on this day. Choose a later day."),
    "a kit weighed before its birth": (
        lambda r: Weight.objects.create(herd=r["cast"].herd, kit=r["kit"], grams=90, on=ago(10)),
        "Nothing was born to weigh on this day. Choose a later day."),
    "a litter weighed before its birth": (
        lambda r: Weight.objects.create(herd=r["cast"].herd, litter=r["litter"], grams=90, on=ago(10)),
        "Nothing was born to weigh on this day. Choose a later day."),
    "a weight in the future": (
        lambda r: Weight.objects.create(herd=r["cast"].herd, kit=r["kit"], grams=90, on=ago(-3)), FUTURE),
    "an animal of forty pounds": (
        lambda r: Weight.objects.create(herd=r["cast"].herd, animal=r["cast"].sire, grams=18_144),
        "This weight is not possible for a rabbit. Check the number and the unit."),
    "a mating of a doe with herself": (
        lambda r: make_mating(r["cast"].dam, r["cast"].dam), "Check the sex of both animals."),
    "a mating of two does": (
        lambda r: make_mating(r["cast"].dam, r["cast"].daughter),
        "A mating needs a doe and a buck. Check the sex of both animals."),
}  # fmt: skip


@pytest.mark.parametrize("name", WRITES)
def test_the_database_refuses(rows, name):
    write, sentence = WRITES[name]
    with pytest.raises(ValidationError) as refusal, rules_explained():
        write(rows)
    assert sentence in refusal.value.messages[0]
