"""A newcomer asks a mentor, takes the photo that is missing, reads the answer with its arrow, and acts on it."""

import re

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from grading.actions import reviews as actions
from grading.models import Drawing, Review, Trait, ViewWish
from herds.models import Decision
from tests.cast import make_cast
from tests.factories import make_look, make_profile
from tests.photos_made import picture, ready_photo, saved

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


def answer(review, animal, mentor, steps):
    """What the mentor's own pages write: a blind look, an arrow, advice and an opinion."""
    of = review.animals.get(animal=animal)
    Drawing.objects.create(
        of=of, photo=animal.photos.filter(state="ready").first(), shape="arrow", x1=0.8, y1=0.2, x2=0.5, y2=0.5,
        words="Part the coat here.",
    )  # fmt: skip
    of.look = make_look(animal, mentor, mode="photo", role="mentor", steps=steps)
    of.graded_at = of.done_at = timezone.now()
    of.advice, of.opinion, of.opinion_reason = "Look outside, not in the barn.", "grow_on", "molting still"
    of.save()
    Review.objects.filter(pk=review.pk).update(state="answered", closed_at=timezone.now(), summary="You see too dark.")
    actions.tell(review=review, kind="answered", by=mentor)


@pytest.mark.parametrize("width", [360, 1280])
def test_a_newcomer_asks_takes_a_photo_reads_and_acts(transactional_db, person, live_server, width):
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

    review, mentor = Review.objects.get(), cast.revoked_mentor
    actions.take_review(review=review, by=mentor)
    wish = ViewWish.objects.create(of=review.animals.get(), view="parted_rump", why="Does it hold over the hips?")
    walk.to("today")
    expect(page.get_by_role("link", name=re.compile("Take it.*coat parted at rump"))).to_be_visible()
    walk.see("today-a-photo-is-asked-for")
    walk.to("review-detail", review.pk)
    page.locator("summary", has_text="I cannot").click()
    page.get_by_label("Why not").fill("She will not sit today.")
    walk.press("Tell the mentor")
    wish.refresh_from_db()
    assert wish.declined == "She will not sit today."

    answer(review, cast.daughter, mentor, {surface: 7, (undercolor, "loin"): 6})
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
