"""A mentor reads a whole herd, proposes for the season, and its owner answers item by item."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from grading.models import SeasonItem
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.models import PlannedMating
from tests.cast import make_cast

from .walker import Walker
from .world import make_club, make_rich

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_a_mentor_proposes_for_the_season_and_the_owner_answers(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    make_rich(cast)
    cast.sire.sired.update(herd=cast.herd)
    refresh_due()
    walk = Walker(person(cast.client_of("mentor")), live_server.url, "barn", width)
    page = walk.page
    walk.to("grant-list")
    walk.press("As a whole Ashgrove", role="link")
    expect(page.get_by_role("heading", name="What most of them share")).to_be_visible()
    walk.see("the-herd-as-a-whole")
    page.get_by_role("link", name="Propose something", exact=True).click()
    page.get_by_label("Animal").select_option(str(cast.dam.pk))
    walk.fill(why="Her undercolor under his surface.")
    walk.press("Propose")
    expect(page.get_by_text("Choose the buck of the mating.").first).to_be_visible()
    walk.see("a-proposal-refused")
    page.get_by_label("Buck").select_option(str(cast.sire.pk))
    walk.press("Propose")
    expect(page.get_by_role("heading", name="The season's plan")).to_be_visible()
    page.get_by_role("link", name="Propose something for the season").click()
    page.get_by_text("Keep", exact=True).click()
    page.get_by_label("Animal").select_option(str(cast.daughter.pk))
    walk.fill(why="The darkest undercolor of her litter.")
    walk.press("Propose")
    expect(page.get_by_text("The darkest undercolor of her litter.")).to_be_visible()
    walk.see("two-proposals")
    assert SeasonItem.objects.count() == 2

    owner = Walker(person(cast.client_of("keeper")), live_server.url, "barn", width, after=walk)
    owner.to("today")
    owner.see("today-tells-of-proposals")
    owner.page.get_by_role("main").get_by_role("link", name="Read and answer").click()
    expect(owner.page.get_by_role("heading", name="The season's plan")).to_be_visible()
    owner.page.get_by_role("button", name="Accept “mate A2 Birch").click()
    expect(owner.page.get_by_text("In your planned matings")).to_be_visible()
    owner.page.get_by_label("A word to the mentor").fill("She is promised to a friend.")
    owner.page.get_by_role("button", name="Decline “keep").click()
    expect(owner.page.get_by_text("She is promised to a friend.")).to_be_visible()
    owner.see("both-answered")
    assert PlannedMating.objects.get().buck == cast.sire
    page.goto(live_server.url + reverse("barn", args=[cast.herd.slug]))
    expect(page.get_by_text("She is promised to a friend.")).to_be_visible()
    walk.arrive()
    owner.arrive()
