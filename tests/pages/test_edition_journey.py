"""An officer makes next year's edition, and a member grades an animal by it, on a phone and at a desk."""

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from grading.models import BreedProfile, Look, Trait
from tests.cast import make_cast
from tests.edition_making import shipped
from tests.factories import make_look

from .walker import Walker, close_notices
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_an_officer_makes_a_new_edition_and_a_member_grades_by_it(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    old, surface = shipped(), Trait.objects.get(code="surface_shade")
    old_look = make_look(cast.dam, cast.keeper, profile=old, steps={surface: 6})

    # the officer copies last year's edition, changes points and a goal, reads the differences, publishes
    way = Walker(person(cast.client_of("officer")), live_server.url, "edition", width)
    page = way.page
    way.to("today")
    page.get_by_role("navigation", name="Main").get_by_text("More").click()
    page.get_by_role("link", name="Breed profiles").click()
    page.get_by_role("link", name=f"New edition of {old}").click()
    way.fill(edition="2027", in_force_from=timezone.localdate().isoformat(), source="The club's meeting (invented)")
    way.see("copy")
    way.press("Make the draft")
    expect(page.get_by_text("Nobody grades by a draft")).to_be_visible()
    draft = BreedProfile.objects.get(edition="2027")
    close_notices(page)
    way.see("draft")

    page.get_by_role("link", name="Points General type").click()
    page.get_by_label("Color: points").fill("25")
    total = page.locator("output[data-sum='']")
    expect(total).to_have_text("The positions add up to 105 of 100 points: 5 too many.")
    way.press("Save the points")
    expect(page.get_by_text("105 points, and the schedule's total is 100: 5 are too many.")).to_be_visible()
    close_notices(page)
    way.see("points-do-not-add-up")
    page.get_by_label("Fur: points").fill("10")
    expect(total).to_have_text("The positions add up to 100 of 100 points.")
    way.press("Save the points")
    close_notices(page)
    way.see("points")

    way.press("Back to the draft", role="link")
    page.get_by_role("link", name="Traits, goals and steps").click()
    way.see("traits")
    page.get_by_role("link", name="Surface shade goal 7 to 8").click()
    page.get_by_label("Goal from").select_option("6")
    page.get_by_label("Step 7 in words").fill("Bright silver with a blue hint, dark hairs set in (2027)")
    way.see("trait")
    way.press("Save")
    expect(page.get_by_text("goal 6 to 8").first).to_be_visible()
    close_notices(page)

    for name in ("head", "ages", "bands", "findings"):
        way.to(f"profile-{name}", draft.pk)
        way.see(name)
    way.to("profile-class", draft.pk, "senior")
    way.see("class")
    way.to("profile-position", draft.pk, "color")
    way.see("position")

    way.to("profile-edit", draft.pk)
    page.get_by_role("link", name="Read the differences and publish").click()
    differences = page.get_by_role("region", name="What is new")
    for words in ("Surface shade", "before: 7 to 8", "now: 6 to 8", "before: 20", "now: 25", "before: 15", "now: 10"):
        expect(differences.get_by_text(words, exact=True).first).to_be_visible()
    way.see("differences")
    way.press("Publish")
    expect(page.get_by_text("is published.").first).to_be_visible()
    close_notices(page)
    way.see("published")

    # the member grades by it
    keeper = Walker(person(cast.client_of("keeper")), live_server.url, "edition", width, after=way)
    page = keeper.page
    keeper.to("look-create", cast.daughter.pk)
    page.get_by_text("daylight, open shade").first.click()
    page.get_by_role("main").get_by_role("button").last.click()
    page.wait_for_url("**/section/1/")
    look = Look.objects.get(animal=cast.daughter)
    assert look.profile == draft
    page.locator("#surface_shade-7").check(force=True)
    scale = page.locator("#scale-surface_shade")
    expect(scale.get_by_text("dark hairs set in (2027)").first).to_be_visible()
    expect(scale.get_by_text("6 to 8").first).to_be_visible()
    keeper.see("graded-by-it")

    # and the old look still shows the old edition
    keeper.to("look-detail", old_look.pk)
    expect(page.get_by_role("link", name=f"{old}")).to_be_visible()
    assert "7 to 8" in page.get_by_role("main").inner_text()
    keeper.see("old-look")
    keeper.to("profile-compare", draft.pk)
    keeper.see("member-compares")
    assert page.goto(live_server.url + reverse("profile-edit", args=[draft.pk])).status == 404
    way.arrive()
    keeper.arrive(expected="404")
