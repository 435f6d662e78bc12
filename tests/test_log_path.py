"""The whole path of a litter by the pages alone: mate, palpate, kindle, look for white, wean, mark, weigh."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from herds.models import Animal, Kit, Litter, LitterEvent, Mating, MatingEvent, Weight

from .factories import make_animal


@pytest.fixture
def doe(cast):
    """A doe that is no relation of the herd's buck."""
    return make_animal(cast.herd, "A9", sex="doe", name="Hazel")


def test_a_litter_goes_from_mating_to_marked_and_weighed_animals(cast, doe):
    client, today = cast.client_of("keeper"), timezone.localdate()
    mated_on = today - timedelta(days=80)
    answer = client.post(
        reverse("mating-create"),
        {"doe": doe.pk, "buck": cast.sire.pk, "other_buck": "", "mated_on": mated_on, "until": "", "note": ""},
    )
    mating = Mating.objects.get()
    assert answer.url == reverse("mating-detail", args=[mating.pk])

    events = reverse("mating-event", args=[mating.pk])
    palpated = {"what": "in_kindle", "on": mated_on + timedelta(days=12), "note": ""}
    assert client.post(events, palpated).status_code == 302
    assert MatingEvent.objects.get().result == "in_kindle"

    born_on = mated_on + timedelta(days=31)
    kindled = {"born_on": born_on, "born_alive": 4, "born_dead": 1, "note": ""}
    answer = client.post(f"{reverse('litter-create')}?mating={mating.pk}", kindled)
    litter = Litter.objects.get()
    assert answer.url == litter.get_absolute_url()
    assert (litter.dam, litter.sire, litter.mating) == (doe, cast.sire, mating)
    assert list(litter.kits.values_list("number", flat=True)) == [1, 2, 3, 4]

    kits = list(Kit.objects.all())
    white = {f"white-{kits[0].pk}": ["head", "nose"], f"white-{kits[1].pk}": ["none"]}
    assert client.post(reverse("kit-list", args=[litter.pk, "white"]), white).status_code == 302
    assert [kit.white_at for kit in Kit.objects.all()] == [["head", "nose"], ["none"], [], []]

    weaned = {"kind": "weaned", "on": born_on + timedelta(days=42), "dead": "", "alive": "", "note": ""}
    assert client.post(reverse("litter-event", args=[litter.pk]), weaned).status_code == 302
    assert LitterEvent.objects.get().alive == 4

    marks = {"on": today}
    for kit, sex in zip(kits, ("buck", "doe", "doe", "unknown"), strict=True):
        marks |= {
            f"kit{kit.number}-mark": f"A{20 + kit.number}",
            f"kit{kit.number}-sex": sex,
            f"kit{kit.number}-name": "",
        }
    assert client.post(reverse("kit-mark", args=[litter.pk]), marks).status_code == 302
    young = Animal.objects.get(mark_text="A21")
    assert (young.sire, young.dam, young.born_on, young.litter, young.bred_in) == (
        cast.sire, doe, born_on, litter, cast.herd,
    )  # fmt: skip
    assert young.kit.white_at == ["head", "nose"]

    sheet = {f"animal{young.pk}-weight_lb": "4", f"animal{young.pk}-weight_oz": "8"}
    assert client.post(reverse("weigh-litter", args=[litter.pk]), sheet).status_code == 302
    assert Weight.objects.get(animal=young).grams == 2041

    for url in (litter.get_absolute_url(), reverse("mating-detail", args=[mating.pk]), reverse("today"),
                reverse("weight-list", args=[young.pk]), young.get_absolute_url(), reverse("mating-list"),
                reverse("litter-list"), reverse("weigh")):  # fmt: skip
        assert client.get(url).status_code == 200, url
