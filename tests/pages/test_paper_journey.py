"""A keeper plans a season's matings and issues a certificate; the registrar checks its number."""

import pytest
from playwright.sync_api import expect

from grading.models import Trait
from pedigrees.models import Certificate, PlannedMating
from tests.cast import make_cast
from tests.factories import make_animal, make_look

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_a_keeper_plans_matings_and_a_certificate_is_checked(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    buck = make_animal(cast.herd, "A7", sex="buck", name="Storm")
    for animal, steps in ((cast.dam, (6, 7)), (buck, (8, 6)), (cast.sire, (5, 8)), (cast.daughter, (7, 7))):
        make_look(animal, cast.keeper, steps={surface: steps[0], (under, "loin"): steps[1]})
    walk = Walker(person(cast.client_of("keeper")), live_server.url, "paper", width)
    page = walk.page
    walk.to("planner", cast.herd.slug)
    for name in ("A2 Birch", "A3 Alder", "A7 Storm", "A1 Slate"):
        page.get_by_role("checkbox", name=name, exact=True).check()
    walk.see("who-is-weighed")
    walk.press("Weigh them up")
    expect(page.get_by_role("heading", name="A3 Alder")).to_be_visible()
    walk.see("pairs-with-reasons")
    page.get_by_role("checkbox", name="A7 Storm for A2 Birch").check()
    walk.press("Put into the plan")
    expect(page.get_by_role("heading", name="A2 Birch to A7 Storm")).to_be_visible()
    walk.see("the-plan")
    assert PlannedMating.objects.get().buck == buck
    walk.to("certificate-create", cast.daughter.pk)
    walk.see("what-is-missing")
    walk.press("Issue the certificate")
    expect(page.get_by_role("link", name="PDF for A4")).to_be_visible()
    walk.see("issued")
    issued = Certificate.objects.get()
    walk.to("cage-cards", cast.herd.slug)
    walk.see("cage-cards")
    walk.arrive()
    check = Walker(person(cast.client_of("registrar")), live_server.url, "paper-check", width)
    check.to("certificate-list")
    check.page.get_by_label("Check a number").fill(issued.number.replace("-", " "))
    check.press("Check it")
    expect(check.page.get_by_text("Nothing on it has changed.")).to_be_visible()
    check.see("checked")
    check.arrive()
