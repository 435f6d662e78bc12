"""Two cards of one animal made one: everything moves, what cannot is kept aside, and all of it can be undone."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.forms.models import model_to_dict
from django.urls import reverse
from django.utils import timezone

from grading.models import Look, Trait
from herds.actions.merges import merge_cards, offer_pair, relations, undo_merge
from herds.models import Animal, Decision, Mark, Merge, PossibleDuplicate, Quarantine, Weight

from .factories import make_animal, make_litter, make_look, make_mating, make_profile, make_weight
from .photos_made import ready_photo

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


@pytest.fixture
def two(cast):
    """One doe on two cards: the keeper's own, and the one that came with the fellow's sheet, with a life on each."""
    profile = make_profile(cast.sire.breed)
    surface = Trait.objects.get(summary="surface")
    born = TODAY() - timedelta(days=500)
    keep = make_animal(cast.herd, "D1", sex="doe", name="Dusk", born_on=born)
    gone = make_animal(
        cast.other_herd,
        "D1",
        sex="doe",
        name="Dusk",
        born_on=born,
        variety="silver",
        sire=None,
        bred_in=cast.other_herd,
    )
    look = make_look(gone, cast.fellow, steps={surface: 6}, profile=profile)
    make_look(keep, cast.keeper, steps={surface: 5}, profile=profile)
    Look.objects.filter(pk=look.pk).update(editable_until=timezone.now() - timedelta(days=3))
    photo = ready_photo(gone)
    kit = make_animal(cast.other_herd, "K1", dam=gone, sire=cast.other_buck, born_on=TODAY() - timedelta(days=60))
    litter = make_litter(gone, cast.other_buck, born_on=TODAY() - timedelta(days=60), herd=cast.other_herd)
    mating = make_mating(gone, cast.other_buck, mated_on=TODAY() - timedelta(days=91))
    make_weight(keep, grams=4000, on=TODAY() - timedelta(days=5))
    same_day = make_weight(gone, grams=4010, on=TODAY() - timedelta(days=5))
    other_day = make_weight(gone, grams=3900, on=TODAY() - timedelta(days=50))
    Decision.objects.create(animal=gone, verdict="keep", by=cast.fellow)
    Quarantine.objects.create(animal=gone, planned_until=TODAY() + timedelta(days=9))
    Mark.objects.create(animal=gone, kind="registration", text="R 500")
    return {
        "keep": keep, "gone": gone, "look": look, "photo": photo, "kit": kit, "litter": litter, "mating": mating,
        "same_day": same_day, "other_day": other_day,
    }  # fmt: skip


def everything():
    """All rows of everything that points at animals, and the animals: what an undo has to restore."""
    found = {"animals": list(Animal.objects.order_by("pk").values())}
    for label, model, _field in relations():
        if model is Animal:
            continue
        found[label] = sorted(
            model._base_manager.values_list("pk", *[f.attname for f in model._meta.concrete_fields]), key=str
        )
    return found


def test_looks_photos_progeny_and_the_log_move_to_the_card_that_stays(cast, two):
    pair = offer_pair(first=two["keep"], second=two["gone"], why="", by=cast.registrar)
    merge = merge_cards(keep=two["keep"], gone=two["gone"], reason="Tattoo read again", by=cast.registrar)
    keep = two["keep"]
    for row, field in ((two["look"], "animal"), (two["photo"], "animal"), (two["kit"], "dam"), (two["litter"], "dam"),
                       (two["mating"], "doe"), (two["other_day"], "animal")):  # fmt: skip
        row.refresh_from_db()
        assert getattr(row, f"{field}_id") == keep.pk
    assert not Animal.objects.filter(pk=two["gone"].pk).exists()
    assert not PossibleDuplicate.objects.filter(pk=pair.pk).exists()
    keep.refresh_from_db()
    assert keep.variety == "silver"
    assert [row["pk"] for row in merge.aside if row["model"] == "herds.weight"] == [two["same_day"].pk]
    assert Weight.objects.get(animal=keep, on=two["same_day"].on).grams == 4000
    assert Mark.objects.filter(animal=keep, kind="registration", text="R 500").exists()


def test_a_merge_is_undone_to_the_last_field(cast, two):
    before = everything()
    merge = merge_cards(keep=two["keep"], gone=two["gone"], reason="Tattoo read again", by=cast.registrar)
    assert everything() != before
    undo_merge(merge=merge, by=cast.registrar)
    after = everything()
    pairs = [label for label in before if "possibleduplicate" in label]
    for label in before.keys() - set(pairs):
        if label == "animals":
            for old, new in zip(before[label], after[label], strict=True):
                differing = {name for name in old if old[name] != new[name]}
                assert differing <= {"version", "edited_at"}, (old["id"], differing)
        else:
            assert after[label] == before[label], label
    pair = PossibleDuplicate.objects.get()
    assert pair.state == "apart"


def test_what_was_added_after_the_merge_stays_with_the_card_that_stayed(cast, two):
    merge = merge_cards(keep=two["keep"], gone=two["gone"], reason="Read again", by=cast.registrar)
    later = make_weight(two["keep"], grams=4200)
    undo_merge(merge=merge, by=cast.registrar)
    later.refresh_from_db()
    assert later.animal_id == two["keep"].pk
    with pytest.raises(ValidationError, match="undone already"):
        undo_merge(merge=merge, by=cast.registrar)


def test_the_old_address_leads_to_the_card_that_stayed(cast, two):
    merge_cards(keep=two["keep"], gone=two["gone"], reason="Read again", by=cast.registrar)
    answer = cast.client_of("fellow").get(reverse("animal-detail", args=[two["gone"].pk]))
    assert answer.url == reverse("animal-detail", args=[two["keep"].pk])
    assert cast.client_of("fellow").get(reverse("animal-detail", args=[999_999])).status_code == 404


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"sex": "buck"}, "Correct the sex"),
        ({"born_on": TODAY() - timedelta(days=400)}, "different birth dates"),
    ],
)
def test_two_animals_are_not_made_one(cast, given, words):
    keep = make_animal(cast.herd, "D1", sex="doe", born_on=TODAY() - timedelta(days=500))
    gone = make_animal(cast.other_herd, "D2", **{"sex": "doe", "born_on": TODAY() - timedelta(days=500), **given})
    with pytest.raises(ValidationError, match=words):
        merge_cards(keep=keep, gone=gone, reason="x", by=cast.registrar)
    assert Animal.objects.filter(pk=gone.pk).exists()


def test_parent_and_child_and_different_parents_are_not_made_one(cast):
    with pytest.raises(ValidationError, match="a parent of the other"):
        merge_cards(keep=cast.dam, gone=cast.daughter, reason="x", by=cast.registrar)
    born = TODAY() - timedelta(days=300)
    other = make_animal(cast.herd, "D2", sex="doe", born_on=born, sire=cast.other_buck)
    with pytest.raises(ValidationError, match="different sires"):
        merge_cards(keep=cast.daughter, gone=other, reason="x", by=cast.registrar)


def test_both_cards_with_the_same_litter_are_refused_and_nothing_moved(cast, two):
    make_litter(two["keep"], cast.sire, born_on=two["litter"].born_on)
    before = everything()
    with pytest.raises(ValidationError, match="Both cards have a litter"):
        merge_cards(keep=two["keep"], gone=two["gone"], reason="x", by=cast.registrar)
    assert everything() == before


def test_only_the_registrar_merges_and_only_with_a_reason(cast, two):
    for who in (cast.keeper, cast.officer):
        with pytest.raises(ValidationError, match="not yours to change"):
            merge_cards(keep=two["keep"], gone=two["gone"], reason="x", by=who)
    with pytest.raises(ValidationError, match="Say how you know"):
        merge_cards(keep=two["keep"], gone=two["gone"], reason=" ", by=cast.registrar)


def test_the_registrar_compares_the_cards_and_makes_them_one_on_the_page(cast, two):
    pair = offer_pair(first=two["keep"], second=two["gone"], why="The same mark and birth date", by=cast.registrar)
    client = cast.client_of("registrar")
    page = client.get(reverse("duplicate-detail", args=[pair.pk])).content.decode()
    assert "differs" in page
    assert "Photos" in page
    short = client.post(reverse("duplicate-detail", args=[pair.pk]), {"keep": two["keep"].pk, "reason": ""})
    assert short.status_code == 422
    client.post(reverse("duplicate-detail", args=[pair.pk]), {"keep": two["keep"].pk, "reason": "Asked both owners"})
    merge = Merge.objects.get()
    assert merge.made_by == cast.registrar
    client.post(reverse("merge-undo", args=[merge.pk]))
    assert model_to_dict(Animal.objects.get(pk=two["gone"].pk))["name"] == "Dusk"


def test_the_registrar_names_a_pair_and_says_they_are_two(cast):
    client = cast.client_of("registrar")
    form = {"first": "A1", "second": "M1", "why": "Look alike"}
    answer = client.post(reverse("duplicate-list"), form)
    pair = PossibleDuplicate.objects.get()
    assert answer.url == reverse("duplicate-detail", args=[pair.pk])
    client.post(reverse("duplicate-apart", args=[pair.pk]))
    pair.refresh_from_db()
    assert pair.state == "apart"
    same = client.post(reverse("duplicate-list"), {"first": "A1", "second": "A1"})
    assert "one and the same card" in same.content.decode()
