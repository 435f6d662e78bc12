"""A breeder chooses between two bucks: from the list of sires to their merits side by side."""

import re

import pytest
from django.core.cache import cache
from playwright.sync_api import expect

from grading.models import Trait
from pedigrees.actions.inbreeding import refresh_due
from tests.cast import make_cast
from tests.factories import make_animal, make_evaluation, make_herd, make_look, make_member, make_profile

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def bucks(transactional_db):
    """Silver breeds bright and dark, Cinder dark alone; seven progeny each of two dams in three sharing herds."""
    make_club()
    cast = make_cast()
    cache.clear()
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed, traits=[surface, under])
    shares = {"shares_merits": True, "shares_looks": True, "shares_photos": True}
    herds = [make_herd(make_member(f"Owner {n}"), name=f"{name} Farm", **shares) for n, name in enumerate("ABC")]
    merits = {surface: {}, under: {}}
    for n, (name, one, other) in enumerate((("Silver", 1.4, 1.2), ("Cinder", -0.4, 0.9))):
        buck = make_animal(herds[n], f"B{n}", sex="buck", name=name)
        merits[surface][buck], merits[under][buck] = (one, 0.85), (other, 0.8)
        dams = [make_animal(herds[n], f"D{n}{d}", sex="doe") for d in range(2)]
        for kit in range(7):
            young = make_animal(herds[kit % 3], f"K{n}{kit}", sire=buck, dam=dams[kit % 2], born_on=None)
            make_look(young, cast.grader, steps={surface: 7 - 2 * n, (under, "loin"): 6 + kit % 2})
            merits[surface][young], merits[under][young] = (one / 2, 0.5), (other / 2 + 0.1 * (kit % 3), 0.5)
    make_evaluation(cast.sire.breed, merits, genetic=-0.4)
    refresh_due()
    return cast


@pytest.mark.parametrize("width", [360, 1280])
def test_a_breeder_compares_two_sires_by_what_they_breed(bucks, person, live_server, width):
    walk = Walker(person(bucks.client_of("fellow")), live_server.url, "sires", width)
    page = walk.page
    walk.to("sire-list", query="?sort=-merit_surface")
    expect(page.get_by_role("link", name=re.compile("B0 Silver"))).to_be_visible()
    walk.see("sires-by-merit")
    page.get_by_role("link", name=re.compile("who breaks the trade-off")).click()
    expect(page.get_by_role("heading", name="Bright, and dark to the skin")).to_be_visible()
    expect(page.get_by_role("link", name=re.compile("B0 Silver"))).to_be_visible()
    expect(page.get_by_role("link", name=re.compile("B1 Cinder"))).to_have_count(0)
    walk.see("bright-and-dark")
    page.get_by_role("link", name=re.compile("B0 Silver")).click()
    expect(page.get_by_role("heading", name=re.compile("Silver: what he throws"))).to_be_visible()
    walk.see("one-sire")
    walk.press("Add to a comparison", role="link")
    page.get_by_label("Mark or name of a buck").fill("Cinder")
    page.get_by_role("main").get_by_role("button", name="Find").click()
    page.get_by_role("main").locator(".compare-offers a", has_text="Cinder").click()
    expect(page.get_by_text("By merit A is brighter than B in", exact=False)).to_be_visible()
    expect(page.get_by_text("By merit A is darker underneath than B in", exact=False)).to_be_visible()
    walk.see("two-sires")
    walk.arrive()
