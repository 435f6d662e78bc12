"""A mentor answers a review of two animals, blind, with an arrow drawn on the photo (asking: test_asking_journey)."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from grading.actions.reviews import ask_review
from grading.models import Drawing, ReviewState, Trait
from tests.cast import make_cast
from tests.factories import make_look, make_profile
from tests.photos_made import ready_photo

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def asked(transactional_db):
    make_club()
    cast = make_cast()
    surface, undercolor = Trait.objects.get(code="surface_shade"), Trait.objects.get(code="undercolor")
    make_profile(cast.sire.breed, traits=[surface, undercolor])
    for animal in (cast.daughter, cast.sire):
        make_look(animal, cast.keeper, steps={surface: 3, (undercolor, "loin"): 8})
        for view in ("left_side", "parted_loin"):
            ready_photo(animal, view=view)
    cast.review = ask_review(
        herd=cast.herd, animals=[cast.daughter, cast.sire], question="keep", words="Which one shall I keep?",
        by=cast.keeper, mentor=cast.revoked_mentor, ends_on=timezone.localdate() + timedelta(days=30),
    )  # fmt: skip
    return cast


def in_sight(part, page):
    """Whether a part of the page stands within the window from top to bottom."""
    box = part.bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"]


def draw_arrow(page):
    """An arrow by hand, from the upper left to the middle of the first photo."""
    figure = page.locator(".reviewing-photo").first
    figure.locator("summary", has_text="Draw on it").click()
    frame = figure.locator("[data-frame]").first
    frame.scroll_into_view_if_needed()
    box = frame.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.2, box["y"] + box["height"] * 0.3)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + box["height"] * 0.5)
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.6)
    page.mouse.up()
    figure.get_by_label("What it shows").fill("Brown here, not blue")
    figure.get_by_role("button", name="Keep the drawing").click()
    expect(page.get_by_text("Brown here, not blue")).to_be_visible()


@pytest.mark.parametrize("width", [360, 1280])
def test_the_mentor_answers_blind_with_an_arrow(asked, person, live_server, width):
    cast, review = asked, asked.review
    walk = Walker(person(cast.client_of("revoked_mentor")), live_server.url, "review", width)
    page = walk.page
    walk.to("review-detail", review.pk)
    walk.press("Take it")
    walk.press("Review the animals", role="link")
    expect(page.get_by_role("heading", name="Animal 1 of 2")).to_be_visible()
    assert "Alder" not in page.content()
    walk.press("Grade this animal")
    if width > 1000:  # by keys: the step, and on to the next
        page.wait_for_load_state()
        page.keyboard.press("7")
        expect(page.locator("#scale-surface_shade .saved")).to_be_visible()
        page.keyboard.press("6")
        expect(page.locator("#scale-undercolor--loin .saved")).to_be_visible()
    else:
        page.locator("label.step:has(#surface_shade-7)").click()
        expect(page.locator("#scale-surface_shade .saved")).to_be_visible()
        page.locator("label.step:has(#undercolor--loin-6)").click()
        expect(page.locator("#scale-undercolor--loin .saved")).to_be_visible()
        frame = page.locator("[data-frame]").first
        assert in_sight(frame, page), "the photo stays in sight beside the last scale"
    page.locator("[data-zoom=in]").first.click()
    shown = "document.querySelectorAll('[data-layer]')"
    turned = page.evaluate(f"[...{shown}].map((layer) => layer.style.transform)")
    assert len(set(turned)) == 1  # one zoom for the same view of all animals
    assert "scale(1.5)" in turned[0]
    page.locator("[data-zoom=fit]").first.click()
    walk.see("grading-blind")
    draw_arrow(page)
    walk.see("an-arrow-drawn")
    walk.press("Save my grading")
    expect(page.get_by_role("heading", name=re.compile("Alder"))).to_be_visible()
    expect(page.locator(".review-differ")).to_be_visible()
    walk.see("both-sides")
    page.get_by_label("Advice").fill("Bright enough, and dark to the skin. Look again outside.")
    page.locator("label:has([name=opinion][value=keep])").click()
    page.get_by_label("Because").fill("she carries both")
    # another form of the page is sent meanwhile, and what was typed is still there
    page.locator("summary", has_text="Ask for another view").click()
    page.get_by_label("What it is to show").fill("the parted rump, in open shade")
    page.get_by_role("button", name="Ask the owner").click()
    expect(page.get_by_text("The owner is asked for it")).to_be_visible()
    expect(page.get_by_label("Advice")).to_have_value("Bright enough, and dark to the skin. Look again outside.")
    expect(page.get_by_label("Because")).to_have_value("she carries both")
    expect(page.locator("[name=opinion][value=keep]")).to_be_checked()
    page.get_by_role("button", name=re.compile("^Save and on")).last.click()

    expect(page.get_by_role("heading", name="Animal 2 of 2")).to_be_visible()
    page.locator("summary", has_text="The photos are not good enough").click()
    page.get_by_label("The photos are not good enough, because").fill("Too dark to tell")
    page.get_by_role("button", name="Save and on to the next").click()
    expect(page.get_by_role("heading", name="Finish the review")).to_be_visible()
    walk.fill(summary="You pick too dark: take her out into the shade and look again.")
    walk.see("finish")
    walk.press("Send the answer")
    expect(page.get_by_text("You answered", exact=False).or_(page.get_by_text("answered on"))).to_be_visible()
    walk.arrive()
    review.refresh_from_db()
    assert review.state == ReviewState.ANSWERED
    drawn = Drawing.objects.get()
    assert (round(drawn.x1, 1), round(drawn.y1, 1), round(drawn.x2, 1), round(drawn.y2, 1)) == (0.2, 0.3, 0.5, 0.6)
