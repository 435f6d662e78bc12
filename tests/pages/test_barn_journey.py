"""A mentor reads a whole herd, proposes for the season, and its owner answers item by item."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from grading.models import SeasonItem
from pedigrees.actions.inbreeding import refresh_due
from pedigrees.models import PlannedMating
from tests.cast import make_cast
from tests.factories import make_animal

from .walker import Walker
from .world import make_club, make_rich

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_a_mentor_proposes_for_the_season_and_the_owner_answers(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    make_rich(cast)
    cast.sire.sired.update(herd=cast.herd)
    young = make_animal(cast.herd, "Y1", sex="buck", name="Sorrel")
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
    page.get_by_role("link", name="Weigh up matings for it").click()
    page.locator(f"[name=doe][value='{cast.daughter.pk}']").check()
    for buck in (cast.sire, young):
        page.locator(f"[name=buck][value='{buck.pk}']").check()
    walk.press("Weigh them up")
    expect(page.get_by_text("Close mating.").first).to_be_visible()
    walk.see("pairs-weighed-up")
    page.locator(f"[name=pair][value='{cast.daughter.pk}-{young.pk}']").check()
    walk.press("Propose to the owner")
    expect(page.get_by_text("Say why: the owner decides by the reason.").first).to_be_visible()
    expect(page.locator(f"[name=pair][value='{cast.daughter.pk}-{young.pk}']")).to_be_checked()
    walk.see("pairs-without-a-reason")
    walk.fill(why="No kin, and dark below.")
    walk.press("Propose to the owner")
    expect(page.get_by_text("No kin, and dark below.")).to_be_visible()
    assert SeasonItem.objects.count() == 3

    owner = Walker(person(cast.client_of("keeper")), live_server.url, "barn", width, after=walk)
    owner.to("today")
    owner.see("today-tells-of-proposals")
    owner.page.get_by_role("main").get_by_role("link", name="Read and answer").click()
    expect(owner.page.get_by_role("heading", name="The season's plan")).to_be_visible()
    owner.page.get_by_role("button", name="Accept “mate A2 Birch").click()
    expect(owner.page.get_by_text("In your planned matings")).to_be_visible()
    owner.page.get_by_label("A word to the mentor about: keep").fill("She is promised to a friend.")
    owner.page.get_by_role("button", name="Decline “keep").click()
    expect(owner.page.get_by_text("She is promised to a friend.")).to_be_visible()
    owner.see("both-answered")
    assert PlannedMating.objects.get().buck == cast.sire
    page.goto(live_server.url + reverse("barn", args=[cast.herd.slug]))
    expect(page.get_by_text("She is promised to a friend.")).to_be_visible()
    walk.arrive()
    owner.arrive()
