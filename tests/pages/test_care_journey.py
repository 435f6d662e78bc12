"""A sick animal from the note to the buyer, and finding it by a mistyped name; at both widths."""

import io
from datetime import timedelta

import pytest
from django.utils import timezone
from PIL import Image, ImageDraw
from playwright.sync_api import expect

from clubsite.members.models import Club
from herds.models import Quarantine
from tests.cast import make_cast

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def cast(transactional_db):
    make_club(
        meetings="Every meeting is invented.\n\n- 3 May, Upper Vale\n- 9 August, Lower Vale",
        enquiries="enquiries@vale.example",
        introduction="We keep one silvered breed and grade it alike.\n\n- looks side by side\n- one registry for all",
    )
    return make_cast()


def day(days):
    return (timezone.localdate() + timedelta(days=days)).isoformat()


@pytest.mark.parametrize("width", [360, 1280])
def test_a_keeper_writes_a_health_note_and_is_asked_before_the_animal_leaves(cast, person, live_server, width):
    today = timezone.localdate()
    Quarantine.objects.create(animal=cast.sire, planned_until=today + timedelta(days=20), reason="back from a show")
    walk = Walker(person(cast.client_of("keeper")), live_server.url, "care", width)
    page = walk.page
    walk.to("animal-detail", cast.dam.pk)
    page.get_by_role("navigation", name="What to do with").get_by_text("More").click()
    walk.press("Health note", role="link")
    walk.see("the-note")
    walk.fill(seen="Sneezes, a wet nose", done="Drops, as the vet said", withdrawal_until=day(9), follow_up_on=day(0))
    page.get_by_label("I asked a vet").check()
    walk.press("Save")
    expect(page.get_by_role("heading", name="Health", exact=True)).to_be_visible()
    walk.see("on-the-animals-page")
    page.get_by_role("link", name="Correct").click()
    walk.fill(reason="The nose is dry again", seen="Sneezes")
    walk.press("Save")
    page.get_by_text("1 earlier version").click()
    walk.see("corrected")
    walk.to("today")
    walk.see("today")
    walk.to("herd-health", cast.herd.slug)
    walk.see("what-runs-in-the-herd")
    walk.to("transfer-create", cast.dam.pk)
    page.get_by_label("To which herd").select_option(label="Millbrook, South Vale")
    walk.press("Offer it")
    expect(page.get_by_text("Not saved yet. Please read this:")).to_be_visible()
    walk.see("asked-before-it-leaves")
    walk.press("I have read this. Log it all the same.")
    expect(page.get_by_text("A withdrawal period runs")).to_be_visible()
    walk.see("what-the-buyer-is-told")
    walk.arrive()


@pytest.mark.parametrize("width", [360, 1280])
def test_a_member_finds_an_animal_by_a_mistyped_name_and_makes_a_calendar_address(cast, person, live_server, width):
    walk = Walker(person(cast.client_of("fellow")), live_server.url, "find", width)
    page = walk.page
    walk.to("today")
    if width == 360:
        page.get_by_role("link", name="Find anything").click()
    else:
        page.get_by_label("Mark, name, herd or member").fill("ash")
        page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Find", exact=True)).to_be_visible()
    walk.see("find")
    box = page.get_by_label("What to find")
    box.fill("brich")
    expect(page.get_by_text("Nothing is called exactly so. One letter off:")).to_be_visible()
    walk.see("one-letter-off")
    box.fill("ashgrove")
    expect(page.get_by_role("heading", name="2 members")).to_be_visible()
    walk.see("herds-and-members")
    box.fill("quartzite")
    expect(page.get_by_text("Nothing answers to that")).to_be_visible()
    walk.see("nothing")
    box.fill("a-2")
    box.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Birch")
    walk.to("feed-address")
    walk.see("no-address")
    walk.press("Make my calendar address")
    expect(page.get_by_role("button", name="Copy the address")).to_be_visible()
    walk.see("address-shown-once")
    walk.to("feed-address")
    walk.see("address-in-use")
    walk.arrive()


def logo():
    """A see-through picture of a silver oval, made here."""
    drawn, picture = io.BytesIO(), Image.new("RGBA", (640, 420), (0, 0, 0, 0))
    ImageDraw.Draw(picture).ellipse((30, 30, 610, 390), fill="#83878b", outline="#202224", width=14)
    picture.save(drawn, "PNG")
    return {"name": "logo.png", "mimeType": "image/png", "buffer": drawn.getvalue()}


def test_an_officer_fits_the_settings_and_everybody_sees_the_public_page(cast, person, live_server):
    Club.objects.update(palpation_days=14)
    walk = Walker(person(cast.client_of("officer")), live_server.url, "settings", 360)
    page = walk.page
    walk.to("club-settings")
    page.get_by_label("Picture or logo").set_input_files(logo())
    walk.press("Save the settings")
    expect(page.get_by_text("The settings are saved.")).to_be_visible()
    page.get_by_role("button", name="Back to 12").click()
    expect(page.get_by_text("Not saved yet")).to_be_visible()
    walk.see("a-default-typed-back")
    walk.fill(due_days="12")
    walk.press("Save the settings")
    expect(page.get_by_text("Give a whole number from 28 to 35.").first).to_be_visible()
    walk.see("refused")
    walk.arrive()
    for width in (360, 1280):
        visitor = Walker(person(), live_server.url, "public", width)
        visitor.to("club-public")
        visitor.see("public-page")
        visitor.arrive()
