"""A newcomer asks and takes the photo that is missing, the mentor answers blind with an arrow, the newcomer acts."""

import re

import pytest
from playwright.sync_api import expect

from grading.models import Review, Trait, ViewWish
from grading.tasks import prepare_photo
from herds.models import Decision
from tests.cast import make_cast
from tests.factories import make_look, make_profile
from tests.photos_made import picture, ready_photo, saved

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


def draw(page, start, end):
    """Draw on the first photo from one place to the other, both as parts of its width and height."""
    page.locator("summary", has_text="Draw on it").first.click()
    frame = page.locator("[data-frame]").first
    frame.scroll_into_view_if_needed()
    box = frame.bounding_box()
    places = [(box["x"] + x * box["width"], box["y"] + y * box["height"]) for x, y in (start, end)]
    page.mouse.move(*places[0])
    page.mouse.down()
    page.mouse.move(*places[1], steps=5)
    page.mouse.up()


def take_and_ask_for_a_view(walk):
    """The mentor takes the request from Today, and asks for a view that is not there."""
    page = walk.page
    walk.to("today")
    page.get_by_role("link", name="A review is asked of you: Ashgrove").click()
    walk.press("Take it")
    walk.see("the-mentor-took-it")
    walk.press("Review the animals", role="link")
    page.locator("summary", has_text="Ask for another view").click()
    page.locator("[name=view]").select_option("parted_rump")
    page.get_by_label("What it is to show").fill("Does it hold over the hips?")
    walk.press("Ask the owner")


def answer_blind(walk, names):
    """The mentor grades blind, draws an arrow, advises and sends; `names` are not seen before."""
    page = walk.page
    walk.to("today")
    page.get_by_role("link", name="Go on with the review for Ashgrove").click()
    walk.press("Review the animals", role="link")
    expect(page.get_by_text("She will not sit today.")).to_have_count(1)
    walk.press("Grade this animal")
    for name in names:
        expect(page.get_by_text(name)).to_have_count(0)
    for trait, step in (("surface_shade", 7), ("undercolor--loin", 6)):
        page.locator(f"#scale-{trait} label.s{step}").click()
        expect(page.locator(f"#scale-{trait} legend .saved")).to_be_visible()
    walk.press("Save my grading")
    draw(page, (0.8, 0.2), (0.5, 0.5))
    page.get_by_label("What it shows").first.fill("Part the coat here.")
    walk.press("Keep the drawing")
    expect(page.get_by_text("Part the coat here.").first).to_be_visible()
    walk.fill(advice="Look outside, not in the barn.", opinion_reason="molting still")
    page.get_by_label("grow on").check()
    page.get_by_role("button", name="Save and on", exact=True).click()
    walk.fill(summary="You see her too dark.")
    walk.press("Send the answer")


@pytest.mark.parametrize("width", [360, 1280])
def test_newcomer_asks_mentor_answers_blind_with_an_arrow_on_the_photo_newcomer_acts(
    transactional_db, person, live_server, width
):
    make_club()
    cast = make_cast()
    surface = Trait.objects.get(code="surface_shade")
    undercolor = Trait.objects.get(code="undercolor")
    make_profile(cast.sire.breed, traits=[surface, undercolor])
    make_look(cast.daughter, cast.keeper, steps={surface: 4, (undercolor, "loin"): 7})
    ready_photo(cast.daughter)
    walk = Walker(person(cast.client_of("keeper")), live_server.url, "asking", width)
    page = walk.page
    walk.to("animal-detail", cast.daughter.pk)
    page.get_by_role("main").locator("summary", has_text="More").first.click()
    walk.press("Ask for a review", role="link")
    expect(page.get_by_label("A3 Alder", exact=False).first).to_be_checked()
    page.get_by_label("Why is the colour as it is?").check()
    walk.fill(words="She looks dark to me.")
    page.locator("[name=mentor]").select_option(label="Berit Stonewell")
    walk.see("what-i-ask")
    walk.press("See what is missing")
    expect(page.get_by_text("She looks dark to me.")).to_be_visible()
    walk.see("what-is-missing")
    page.get_by_role("link", name="Coat parted at loin of A3 Alder").click()
    page.locator("input[data-photos][multiple]").set_input_files(
        {"name": "loin.jpg", "mimeType": "image/jpeg", "buffer": saved(picture((900, 700)))}
    )
    expect(page.locator("[data-uploads] li .photo-state").first).to_be_visible(timeout=20_000)
    page.get_by_role("link", name="Back to the review").click()
    expect(page.get_by_text("She looks dark to me.")).to_be_visible()
    expect(page.get_by_role("link", name="Coat parted at loin of A3 Alder")).to_have_count(0)
    walk.press("Send it anyway")
    expect(page.get_by_text("It waits for Berit Stonewell.")).to_be_visible()
    walk.see("sent")

    review = Review.objects.get()
    prepare_photo.call(key=str(cast.daughter.photos.get(view="parted_loin").key))

    mentors = Walker(person(cast.client_of("revoked_mentor")), live_server.url, "asking", width, after=walk)
    take_and_ask_for_a_view(mentors)
    walk.count = mentors.count
    walk.to("today")
    expect(page.get_by_role("link", name=re.compile("Take it.*coat parted at rump"))).to_be_visible()
    walk.see("today-a-photo-is-asked-for")
    walk.to("review-detail", review.pk)
    page.locator("summary", has_text="I cannot").click()
    page.get_by_label("Why not").fill("She will not sit today.")
    walk.press("Tell the mentor")
    assert ViewWish.objects.get().declined == "She will not sit today."

    mentors.count = walk.count
    answer_blind(mentors, ["Alder", "Slate", "Birch"])
    mentors.arrive()
    walk.count = mentors.count

    walk.to("today")
    page.get_by_role("link", name=re.compile("^Read it")).click()
    expect(page.get_by_text("Part the coat here.")).to_be_visible()
    expect(page.locator(".review-differ")).to_contain_text("Who grades so lets animals go that are good in it.")
    walk.see("the-answer")
    page.locator("summary", has_text="Write about A3 Alder").click()
    page.get_by_role("textbox", name="About A3 Alder").fill("Thank you. I will look again outside.")
    page.locator(f"#talk-{review.animals.get().pk}").get_by_role("button", name="Send").click()
    expect(page.get_by_text("I will look again outside.")).to_be_visible()
    page.get_by_role("link", name=re.compile("^Grow on.*A3 Alder")).click()
    expect(page.locator("[name=reason]")).to_have_value("molting still")
    walk.press("Save")
    expect(page.get_by_role("heading", name="Reviews")).to_be_visible()
    walk.see("kept-with-the-animal")
    assert Decision.objects.get(animal=cast.daughter).verdict == "grow_on"
    walk.to("today")
    expect(page.get_by_text("Decide about A3 Alder")).to_have_count(0)
    walk.arrive()
