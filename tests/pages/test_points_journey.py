"""A judge's way through the points sheet: by thumb on a phone, by keyboard at a desk."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from grading.actions import looks as actions
from grading.models import PointsLine, Trait
from herds.models import Breed
from tests.cast import make_cast
from tests.factories import make_animal
from tests.looking import begin

from .walker import HEIGHTS, Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

STEPS = {("surface_shade", ""): 7, ("undercolor", "loin"): 8, ("undercolor_reach", "rump"): 3}
BY_THUMB = {"type": 18, "fur": 17, "silvering": 13, "evenness": 12, "care": 4}


@pytest.fixture
def cast(transactional_db):
    make_club()
    return make_cast()


@pytest.fixture
def look(cast):
    """The keeper's open look of a doe by the Central European schedule, with a base that is washed out."""
    breed = Breed.objects.get(slug="central-european-silvered")
    doe = make_animal(cast.herd, "C1", sex="doe", breed=breed, name="Sedge")
    look = begin(cast, animal=doe)
    actions.save_facts(look=look, by=cast.keeper, grams=4210, coat_stage="prime", silvering_complete=True)
    answers = [(Trait.objects.get(code=code), site, step) for (code, site), step in STEPS.items()]
    actions.save_answers(look=look, answers=answers, by=cast.keeper)
    return look


@pytest.mark.parametrize("width", sorted(HEIGHTS))
def test_points_are_given_by_thumb_or_by_key_and_a_contradiction_is_asked(cast, look, person, live_server, width):
    walk = Walker(person(cast.client_of("keeper")), live_server.url, "points", width)
    page = walk.page
    walk.to("look-section", look.pk, 5)
    walk.press("Add points")
    page.wait_for_url(f"**{reverse('look-points', args=[look.pk])}")
    walk.see("the-empty-sheet")
    fur = page.get_by_label("Points for fur,")
    page.get_by_label("Less for fur").click()
    expect(fur).to_have_value("20")
    page.get_by_label("Less for fur").click()
    expect(fur).to_have_value("19.5")
    page.get_by_label("More for care").click()
    expect(page.get_by_label("Points for care,")).to_have_value("3")
    expect(page.locator("#said-care .saved")).to_be_visible()
    for code, points in BY_THUMB.items():
        field = page.locator(f"[name=points--{code}]")
        field.fill(str(points))
        field.press("Enter")
    page.locator("[name=points--care]").press("ArrowUp")
    expect(page.locator("[name=points--care]")).to_have_value("4.5")
    page.locator("[name=points--silvering]").fill("10.5")
    page.locator("[name=points--undercolor]").fill("16")
    page.locator("[name=points--undercolor]").blur()
    expect(page.locator("#said-undercolor")).to_contain_text("Undercolor has 15 points; 16 is more.")
    walk.see("more-than-there-are")
    page.locator("[name=points--undercolor]").fill("15")
    page.locator("[name=points--undercolor]").blur()
    expect(page.locator("#said-undercolor")).to_contain_text("undercolor reach at the rump 3, goal 7 to 10")
    expect(page.locator("#said-silvering")).to_contain_text("Under the floor of 11")
    expect(page.locator("#points-sum")).to_contain_text("85 of 100")
    page.locator("#line-undercolor summary").click()
    page.locator("[name=note--undercolor]").fill("Dark above, pale at the rump.")
    page.locator("[name=note--undercolor]").blur()
    expect(page.locator("#said-undercolor .saved")).to_be_visible()
    walk.see("a-question")
    walk.press("Finish the look")
    page.wait_for_url(f"**{look.get_absolute_url()}")
    expect(page.locator(".points-table")).to_contain_text("Dark above, pale at the rump.")
    walk.see("points-beside-the-look")
    walk.to("look-list", look.animal_id)
    walk.see("the-list-of-looks")
    assert dict(PointsLine.objects.values_list("position__code", "points"))["undercolor"] == 15
    walk.arrive(expected="htmx:(afterRequest|sendAbort)")  # the sheet was sent while its last note was on the way


def test_the_sheet_works_without_script(cast, look, person, live_server):
    walk = Walker(person(cast.client_of("keeper"), java_script_enabled=False), live_server.url, "points-no-script", 360)
    page = walk.page
    walk.to("look-points", look.pk)
    assert not page.get_by_label("More for care").is_visible()
    for code, points in BY_THUMB.items():
        page.locator(f"[name=points--{code}]").fill(str(points))
    walk.press("Finish the look")
    expect(page.locator(".points-total")).to_contain_text("72 of 85 so far")
