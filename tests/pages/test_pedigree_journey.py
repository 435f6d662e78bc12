"""From an animal's page to its pedigree, its progeny, why two are related, and how narrow the breed has become."""

from datetime import date, timedelta

import pytest
from playwright.sync_api import expect

from grading.models import Trait
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.actions.population import work_out
from pedigrees.models import PopulationRun
from tests.cast import make_cast
from tests.factories import make_animal, make_breed, make_herd, make_look, make_member

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


def make_line(cast):
    """Four generations out of the keeper's sire, dam and one buck from elsewhere, close and seen; the youngest doe."""
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    herds = [cast.herd, cast.other_herd, make_herd(make_member("Una Farrow"), name="Farrow")]
    buck, doe, names = (
        cast.sire,
        cast.dam,
        iter(("Ash", "Bracken", "Cinder", "Dew", "Elder", "Frost", "Gorse", "Hazel")),
    )
    for generation in range(4):
        born = date.today() - timedelta(days=560 - 140 * generation)
        litter = [
            make_animal(herds[n % 3], sex=("buck", "doe")[n % 2], name=f"{next(names) if n < 2 else ''}",
                        sire=buck, dam=doe, born_on=born)
            for n in range(8)
        ]  # fmt: skip
        make_look(litter[0], cast.keeper, steps={surface: 6, (under, "loin"): 7})
        buck, doe = (litter[0], litter[1]) if generation != 1 else (cast.other_buck, litter[1])
    return litter[1]


@pytest.mark.parametrize("width", [360, 1280])
def test_a_keeper_finds_out_how_close_the_line_has_become(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    for each in (cast.sire, cast.dam, cast.other_buck):
        type(each).objects.filter(pk=each.pk).update(born_on=date(2022, 5, 1))
    doe = make_line(cast)
    refresh_due()
    walk = Walker(person(cast.client_of("keeper")), live_server.url, "pedigree", width)
    page = walk.page
    walk.to("animal-detail", doe.pk)
    walk.press("The whole pedigree", role="link")
    expect(page.get_by_role("heading", name="Common ancestors")).to_be_visible()
    walk.see("four-generations")
    page.get_by_role("link", name="6 generations").click()
    walk.see("six-generations")
    walk.press("Why sire and dam are related, path by path", role="link")
    expect(page.get_by_text("the whole coancestry")).to_be_visible()
    walk.see("paths")
    page.get_by_label("One animal").fill("nobody at all")
    walk.press("Show how they are related")
    walk.see("nobody-of-that-name")
    walk.to("progeny-tree", cast.dam.pk)
    walk.see("progeny")
    walk.to("population")
    walk.see("no-figures-yet")
    walk.press("Work the figures out")
    expect(page.get_by_text("Asked for on")).to_be_visible()
    walk.see("being-worked-out")
    work_out(PopulationRun.objects.get(breed=make_breed()))
    page.get_by_role("link", name="Look again").click()
    expect(page.get_by_role("heading", name="Inbreeding by birth year")).to_be_visible()
    walk.see("population")
    walk.arrive()


def test_the_tree_is_read_and_walked_by_keyboard(transactional_db, person, live_server):
    make_club()
    cast = make_cast()
    refresh_due()
    page = Walker(person(cast.client_of("fellow")), live_server.url, "pedigree-keys", 360).page
    page.goto(f"{live_server.url}/animals/{cast.daughter.pk}/pedigree/")
    tree = page.get_by_role("region", name="The tree of ancestors")
    lists = tree.get_by_role("list")
    assert lists.count() == 4  # the animal, its parents, and the two pairs of theirs
    expect(tree.get_by_role("listitem").filter(has_text="Sire not known: sire of the dam")).to_have_count(3)
    tree.focus()
    page.keyboard.press("Tab")
    expect(page.locator(":focus")).to_contain_text("Slate")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Slate")
