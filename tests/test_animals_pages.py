"""The animal's page and the club's list of animals: what each member sees, and what it costs."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from herds.actions.animals import change_status
from herds.actions.decisions import decide
from herds.actions.identity import edit_animal
from herds.actions.quarantine import start_quarantine
from herds.actions.transfers import offer_animal, refuse_transfer
from herds.models import Animal, Herd
from herds.panels import PLACES, AnimalAction, AnimalPanel, register

from .cast import PEOPLE
from .factories import make_animal, make_litter
from .queries import queries_of


def today():
    return timezone.localdate()


@pytest.fixture
def full(cast):
    """The keeper's daughter with everything that is logged about an animal."""
    animal = cast.daughter
    Animal.objects.filter(pk=animal.pk).update(notes="Bit a judge.")
    decide(animals=[animal], verdict="let_go", reason="cream cast", by=cast.keeper)
    start_quarantine(animal=animal, by=cast.keeper, reason="sneezed")
    earlier = {"born_on": animal.born_on - timedelta(days=1)}
    edit_animal(animal=animal, version=None, by=cast.registrar, identity=earlier, reason="litter card")
    refuse_transfer(transfer=offer_animal(animal=animal, to_herd=cast.other_herd, by=cast.keeper), by=cast.fellow)
    make_litter(animal, cast.sire, born_on=today() - timedelta(days=9), born_alive=7, note="first")
    change_status(animals=[animal], status="put_down", by=cast.keeper, note="broken leg")
    return cast


def page_of(cast, who, animal=None):
    return cast.client_of(who).get((animal or cast.daughter).get_absolute_url()).content.decode()


CARD = ("A3", "Alder", "doe", "A1 Slate", "A2 Birch", "Ashgrove")
PRIVATE = ("Bit a judge", "cream cast", "sneezed", "put down", "broken leg", "7 alive", "Decide", "when it left")


@pytest.mark.parametrize("who", ["keeper", "co_owner"])
def test_its_keepers_see_all_that_is_logged(full, who):
    html = page_of(full, who)
    for words in (*CARD, *PRIVATE[:-2], "litter card", "Add a mark"):
        assert words in html


@pytest.mark.parametrize("who", [who for who in PEOPLE if who not in ("keeper", "co_owner", "visitor")])
def test_everybody_else_sees_the_card_and_nothing_more(full, who):
    html = page_of(full, who)
    for words in CARD:
        assert words in html
    for words in PRIVATE:
        assert words not in html, words
    assert ("litter card" in html) == (who == "registrar")
    assert ("Correct the identity" in html) == (who == "registrar")


def test_the_age_on_the_card_does_not_tell_whether_the_animal_lives(cast):
    before = page_of(cast, "fellow")
    change_status(animals=[cast.daughter], status="died", by=cast.keeper)
    assert page_of(cast, "fellow").split("<main")[1] == before.split("<main")[1]


def test_what_a_herd_shares_is_seen(full):
    Herd.objects.filter(pk=full.herd.pk).update(shares_outcomes=True, shares_litters=True)
    html = page_of(full, "fellow")
    assert "put down on a vet" in html
    assert "7 alive" in html
    assert "broken leg" not in html


def test_litters_show_on_the_sires_page_and_progeny_as_cards(full):
    html = page_of(full, "keeper", full.sire)
    assert "7 alive" in html
    assert "A3" in html
    html = page_of(full, "fellow", full.sire)
    assert "7 alive" not in html
    assert "A3" in html


def test_an_ancestor_outside_the_club_has_a_card(cast):
    outside = make_animal(None, "R7", sex="buck", name="Basalt", breeder_name="P. Quarry")
    html = page_of(cast, "fellow", outside)
    assert "P. Quarry" in html
    assert "outside the club" in html


def test_apps_above_add_panels_and_actions_in_their_order(cast):
    register(AnimalPanel("late", "Late panel", 95, "components/empty.html", lambda request, animal: {"title": "late"}))
    register(AnimalPanel("hidden", "Hidden panel", 5, "components/empty.html", lambda request, animal: None))
    register(AnimalAction("wash", "Wash", 1, lambda request, animal: "/wash/" if animal.is_kept else None))
    decide(animals=[cast.daughter], verdict="keep", by=cast.keeper)
    try:
        html = page_of(cast, "keeper")
        assert html.index("Decisions</h2>") < html.index("Late panel")
        assert "Hidden panel" not in html
        assert 'href="/wash/"' in html
        assert 'href="/wash/"' not in page_of(cast, "fellow")
    finally:
        del PLACES.panels["late"], PLACES.panels["hidden"], PLACES.actions["wash"]


@pytest.mark.parametrize("who", ["keeper", "fellow"])
def test_the_animals_page_costs_the_same_for_3_and_for_40_progeny(full, who):
    client, url = full.client_of(who), full.sire.get_absolute_url()

    def more(times):
        for number in range(times):
            dam = make_animal(full.herd, sex="doe")
            make_litter(dam, full.sire, born_on=today() - timedelta(days=number + 1))
            make_animal(full.herd, sire=full.sire, dam=dam, born_on=today() - timedelta(days=number + 1))
            decide(animals=[full.sire], verdict="keep", by=full.keeper)

    more(2)
    few = queries_of(client, url)
    more(37)
    assert queries_of(client, url) == few
    assert few <= 32


def found(cast, who="fellow", **asked):
    return [animal.mark_text for animal in cast.client_of(who).get(reverse("animal-list"), asked).context["page"]]


@pytest.mark.parametrize(
    ("asked", "marks"),
    [
        ({}, "A1 A2 A3 M1"),
        ({"q": "a1"}, "A1"),
        ({"q": " A  1 "}, "A1"),
        ({"q": "SLATE"}, "A1"),
        ({"q": "ashgrove  slate"}, "A1"),
        ({"q": "millbrook"}, "M1"),
        ({"breeder": "ashgrove", "sex": "doe"}, "A2 A3"),
        ({"sex": "buck"}, "A1 M1"),
        ({"q": "nothing like it"}, ""),
        ({"sex": "hen", "year": "abc", "sort": "x"}, "A1 A2 A3 M1"),
        ({"sort": "name"}, "A3 A2 M1 A1"),
        ({"sort": "-born", "breeder": "ashgrove"}, "A3 A1 A2"),
    ],
)
def test_any_animal_of_the_club_is_found_by_its_card(cast, asked, marks):
    assert found(cast, **asked) == marks.split()


def test_animals_are_found_by_year_and_by_parent(cast):
    Animal.objects.filter(pk=cast.daughter.pk).update(born_on=cast.dam.born_on + timedelta(days=400))
    year = (cast.dam.born_on + timedelta(days=400)).year
    assert "A3" in found(cast, year=year)
    assert found(cast, parent=cast.sire.pk) == ["A3"]
    assert found(cast, parent=10**30) == ["A1", "A2", "A3", "M1"]


def test_the_csv_file_holds_the_cards_that_were_found_and_no_outcome(cast):
    change_status(animals=[cast.daughter], status="died", by=cast.keeper)
    response = cast.client_of("fellow").get(reverse("animal-csv"), {"q": "alder"})
    header, row, end = response.content.decode("utf-8-sig").split("\r\n")
    assert header == "mark,name,sex,born,age,breeder,sire,dam,herd"
    assert row.startswith("A3,Alder,doe,")
    assert row.endswith(",Ashgrove,A1 Slate,A2 Birch,Ashgrove")
    assert end == ""


def test_the_clubs_list_comes_in_pages_and_as_a_part(cast):
    for _ in range(60):
        make_animal(cast.herd)
    client = cast.client_of("fellow")
    assert len(client.get(reverse("animal-list")).context["page"]) == 50
    part = client.get(reverse("animal-list"), {"page": 2}, headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert 'id="animals"' in part


def test_the_clubs_list_costs_the_same_for_4_and_for_40_animals(cast):
    client, url = cast.client_of("fellow"), reverse("animal-list") + "?q=a"
    few = queries_of(client, url)
    for _ in range(36):
        make_animal(cast.herd, sire=cast.sire, dam=cast.dam, born_on=today())
    assert queries_of(client, url) == few <= 6


def test_text_that_looks_like_markup_is_shown_as_text(cast):
    Animal.objects.filter(pk=cast.daughter.pk).update(name="<script>x</script>", notes="<b>bold</b>")
    html = page_of(cast, "keeper")
    assert "<script>x" not in html
    assert "&lt;script&gt;x" in html
    assert "<b>bold" not in html
