"""A registrar brings ten years of a register in; a keeper's own sheet asks what can be read in two ways."""

from pathlib import Path

import pytest
from playwright.sync_api import expect

from herds.models import Animal, ImportBatch
from tests.cast import make_cast

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]
LONG = 60_000  # milliseconds that a sheet of 744 rows may take on a busy machine
SHEETS = Path(__file__).resolve().parent.parent / "sheets"
AWKWARD = """Our rabbits,,,,,,
Ear no.,Name,Sex,Born,Sire,Weight,Pen
B1,Ash,buck,05/06/2021,,9.5,3
B2,Ash,buck,07/08/2021,,10.25,4
B3,Moss,doe,03/04/2023,Ash,8.75,4
B4,Sorrel,doe,04/05/2023,Old Grey,9,2
B5,Wren,doe,31/02/2023,B1,9,2
A3,Alder,doe,,,9.5,1
"""


@pytest.fixture
def cast(transactional_db):
    make_club()
    return make_cast()


def test_a_registrar_brings_the_register_in_and_takes_it_back(cast, person, live_server):
    walk = Walker(person(cast.client_of("registrar")), live_server.url, "sheets", 1280)
    page = walk.page
    walk.to("sheet-list")
    page.get_by_role("main").get_by_role("link", name="Bring a sheet in").first.click()
    page.get_by_label("The sheet").set_input_files(SHEETS / "register.csv")
    walk.see("the-file")
    walk.press("Read it")
    expect(page.get_by_role("heading", name="What would go in")).to_be_visible(timeout=LONG)
    walk.see("the-preview")
    page.get_by_role("link", name="Columns").click()
    walk.see("the-columns")
    walk.press("Look at the rows again")
    expect(page.get_by_role("heading", name="What would go in")).to_be_visible(timeout=LONG)
    page.get_by_role("button", name="Bring in: 744 new animals").click()
    expect(page.get_by_text("In the registry since")).to_be_visible(timeout=LONG)
    walk.see("in-the-registry")
    assert Animal.objects.count() == 748
    page.get_by_role("link", name="Take it back").click()
    walk.see("taking-it-back")
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_text("Taken back on")).to_be_visible(timeout=LONG)
    assert Animal.objects.count() == 4
    walk.arrive()


def test_a_keepers_sheet_asks_on_a_phone(cast, person, live_server, tmp_path):
    file = tmp_path / "our rabbits.csv"
    file.write_text(AWKWARD)
    walk = Walker(person(cast.client_of("keeper")), live_server.url, "sheets-phone", 360)
    page = walk.page
    walk.to("sheet-create")
    page.get_by_label("The sheet").set_input_files(file)
    walk.see("the-file")
    walk.press("Read it")
    expect(page.get_by_role("heading", name="Questions")).to_be_visible(timeout=LONG)
    walk.see("the-questions")
    page.get_by_label("the day first").check()
    page.get_by_label("pounds with decimals").check()
    page.get_by_label("enter them as animals outside the club").check()
    walk.press("Use these answers")
    page.get_by_label("B2 Ash").check(timeout=LONG)
    walk.press("Use these answers")
    expect(page.get_by_role("heading", name="Answers for the whole sheet")).to_be_visible(timeout=LONG)
    walk.see("answered")
    page.get_by_role("link", name="refused").click()
    walk.see("the-refused-row")
    page.get_by_label("Leave out 1 row").check()
    page.get_by_role("button", name="Bring in").click()
    expect(page.get_by_text("In the registry since")).to_be_visible(timeout=LONG)
    walk.see("in-the-herd")
    assert Animal.objects.get(name="Moss").sire.mark_text == "B2"
    assert ImportBatch.objects.get().counts["refused"] == 1
    walk.arrive()
