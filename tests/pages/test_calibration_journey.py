"""An officer builds a set from photos whose owner agreed, five graders answer, and each reads their own result."""

import re

import numpy as np
import pytest
from django.test import Client
from playwright.sync_api import expect

from grading.actions.calibration import work_out
from grading.models import CalibrationAnswer, CalibrationSet, PhotoConsent, Seat, Trait
from tests.calibration_making import answered, eyes
from tests.cast import make_cast
from tests.factories import make_animal, make_look, make_member, make_profile
from tests.photos_made import ready_photo

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]
ANIMALS = 7


@pytest.fixture
def club(transactional_db):
    """Seven graded animals of the keeper's, with a left side and a parted coat each, open to nobody yet."""
    make_club()
    cast = make_cast()
    surface, undercolor = Trait.objects.get(code="surface_shade"), Trait.objects.get(code="undercolor")
    make_profile(cast.sire.breed, traits=[surface, undercolor])
    for number in range(ANIMALS):
        animal = make_animal(cast.herd, f"N{number}")
        make_look(animal, cast.keeper, steps={surface: 2 + number, (undercolor, "loin"): 9 - number})
        for view in ("left_side", "parted_loin"):
            ready_photo(animal, view=view)
    return cast


@pytest.mark.parametrize("width", [360, 1280])
def test_an_officer_builds_a_set_five_graders_answer_and_each_reads_theirs(club, person, live_server, width):
    cast = club
    owner = Walker(person(cast.client_of("keeper")), live_server.url, "calibration", width)
    owner.to("photo-consents", cast.herd.slug)
    for box in owner.page.locator("[name=calibration]").all():
        box.check()
    owner.see("the-owner-agrees")
    owner.press("Save this page")
    expect(owner.page.get_by_text(f"{2 * ANIMALS} leaves given")).to_be_visible()
    owner.arrive()
    assert PhotoConsent.objects.standing().count() == 2 * ANIMALS

    desk = Walker(person(cast.client_of("officer")), live_server.url, "calibration", width, after=owner)
    desk.to("calibration-list")
    desk.press("New set", role="link")
    desk.fill(name="Calibration, spring", animals=str(ANIMALS), doubles="2")
    desk.see("a-new-set")
    desk.press("Propose a set")
    expect(desk.page.get_by_role("heading", name="The places in order")).to_be_visible()
    assert "N3" not in desk.page.get_by_role("main").inner_text()
    desk.see("the-places")
    desk.press("Open it for grading", role="link")
    desk.press("Open it")
    expect(desk.page.get_by_text("is open. It stands under Calibration")).to_be_visible()

    of_set = CalibrationSet.objects.get()
    rng = np.random.default_rng(2)
    true = {(item.pk, trait.code): rng.uniform(2, 8) for item in of_set.items.all() for trait in of_set.traits.all()}
    others = [make_member(f"Grader {number}") for number in range(4)]
    for number, lean in enumerate((0.0, 0.0, -1.5, 1.2)):
        answered(of_set, others[number], eyes(true, lean=lean, scatter=0.4, seed=number))

    grader = Walker(person(cast.client_of("fellow")), live_server.url, "calibration", width, after=desk)
    page = grader.page
    grader.to("calibration-list")
    grader.press("Begin grading")
    for number in range(1, of_set.items.count() + 1):
        expect(page.get_by_role("heading", name=f"Animal {number} of")).to_be_visible()
        if width > 1000:
            page.wait_for_load_state()  # keys are heard once the page's script has come
            page.keyboard.press(str(2 + number % 6))
            expect(page.locator("#scale-surface_shade .saved")).to_be_visible()
            page.keyboard.press("0" if number == 4 else str(8 - number % 6))
            expect(page.locator("#scale-undercolor .saved")).to_be_visible()
        else:
            page.locator(f"label.step:has(#surface_shade-{2 + number % 6})").click()
            expect(page.locator("#scale-surface_shade .saved")).to_be_visible()
            step = f"label.step:has(#undercolor-{8 - number % 6})"
            page.locator("label.cannot:has(#undercolor-cannot-tell)" if number == 4 else step).click()
            expect(page.locator("#scale-undercolor .saved")).to_be_visible()
            box = page.locator(".calibration-photos img").first.bounding_box()
            assert 0 <= box["y"] < 740 - box["height"], "the photo stays in sight beside the last scale"
        if number == 1:
            grader.see("one-place")
        page.get_by_role("button", name=re.compile("^(Next animal|Done)")).click()
    expect(page.get_by_role("heading", name="Done?")).to_be_visible()
    grader.see("done")
    grader.press("I am done")
    expect(page.get_by_text("Thank you.", exact=False)).to_be_visible()
    assert CalibrationAnswer.objects.filter(seat__member=cast.fellow).count() == 2 * of_set.items.count()

    desk.to("calibration-close", of_set.pk)
    desk.press("Close it")
    work_out(of_set=CalibrationSet.objects.get())
    desk.to("calibration-detail", of_set.pk)
    expect(desk.page.get_by_role("heading", name="How alike the graders are")).to_be_visible()
    assert "Rhea" not in desk.page.get_by_role("main").inner_text()
    desk.see("the-spread")
    desk.arrive()

    grader.count = desk.count
    grader.to("calibration-list")
    grader.press("Your result", role="link")
    expect(page.get_by_role("heading", name="Where you differ most")).to_be_visible()
    grader.see("my-result")
    grader.press("Officers may read it with my name")
    expect(page.get_by_text("You let them see your name")).to_be_visible()
    grader.arrive()
    assert Seat.objects.get(member=cast.fellow).shows_name
    desk.to("calibration-detail", of_set.pk)
    assert "Rhea" in desk.page.get_by_role("main").inner_text()

    for number, sees in ((0, "You"), (2, "darker than the others"), (3, "brighter than the others")):
        client = Client()
        client.force_login(others[number])
        reader = Walker(person(client), live_server.url, "calibration", width, after=grader)
        reader.to("calibration-result", of_set.pk)
        expect(reader.page.get_by_role("heading", name="Your result")).to_be_visible()
        shade = reader.page.locator("section:has(#result-surface_shade)")
        assert sees in shade.inner_text()
        reader.arrive()
