"""A member makes a line, compares it with another light to dark, and hands the address on."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from grading.models import Photo
from herds.models import Animal, Line
from tests.cast import make_cast
from tests.photos_made import ready_photo

from .walker import Walker
from .world import make_club, make_rich

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_a_member_compares_two_lines_light_to_dark(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    make_rich(cast)
    other = Line.objects.create(name="Flint's", foundation=cast.other_buck, owner=cast.fellow, shared=True)
    for buck in (cast.sire, cast.other_buck):
        for animal in Animal.objects.filter(sire=buck, herd=cast.herd, looks__isnull=False).distinct()[:3]:
            ready_photo(animal)
    Photo.objects.update(view="left_side")
    walk = Walker(person(cast.client_of("keeper")), live_server.url, "compare", width)
    page = walk.page
    walk.to("line-list")
    walk.see("the-lines")
    walk.press("Make a line", role="link")
    walk.fill(name="Slate's", foundation="A1")
    walk.see("a-line-begins")
    walk.press("Make the line")
    expect(page.get_by_role("heading", name="Slate's", exact=True)).to_be_visible()
    walk.see("the-line-is-made")
    walk.press("Add to a comparison", role="link")
    walk.see("one-line-and-what-to-add")
    page.get_by_role("main").get_by_label("Name of a line or its foundation").fill("flint")
    walk.press("Find")
    page.get_by_role("link", name="Flint's").first.click()
    expect(page.get_by_role("heading", name="Light to dark")).to_be_visible()
    expect(page.get_by_text("Bright on top and dark below, against the pull of the two:")).to_be_visible()
    expect(page.locator(".lineup-item.is-both b").first).to_be_visible()
    walk.see("two-lines-light-to-dark")
    page.get_by_label("Which looks count").select_option("all")
    walk.press("Show")
    walk.see("two-lines-everything")
    page.emulate_media(media="print")
    page.pdf(path=walk.folder / "two-lines-on-paper.pdf", format="A4", print_background=True)
    page.emulate_media(media="screen")
    address = page.url.removeprefix(walk.base)
    stranger = Walker(person(cast.client_of("fellow")), live_server.url, "compare", width, after=walk)
    Line.objects.exclude(pk=other.pk).update(shared=False)
    assert stranger.page.goto(live_server.url + address).status == 200
    expect(
        stranger.page.get_by_text("One of the lines in this comparison can no longer be shown to you.")
    ).to_be_visible()
    expect(stranger.page.get_by_text("Slate's")).to_have_count(0)
    stranger.see("handed-on-to-one-who-may-not-see-a-line")
    walk.to("compare", query=f"?kind=herds&with={cast.herd.pk}&with={cast.other_herd.pk}")
    walk.see("two-herds")
    assert reverse("compare") in address
    walk.arrive()
    stranger.arrive()
