"""The registrar is asked who changed a mark, and reads it; the officer reads who changed a setting."""

import pytest
from playwright.sync_api import expect

from clubsite.history import acting
from clubsite.members.actions.club import change_settings
from clubsite.members.models import Club
from herds.models import Animal, Grant
from tests.cast import make_cast

from .walker import Walker
from .world import make_club

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [360, 1280])
def test_the_registrar_reads_who_changed_a_mark(transactional_db, person, live_server, width):
    make_club()
    cast = make_cast()
    keeper = Walker(person(cast.client_of("keeper")), live_server.url, "changes", width)
    replace_the_mark(keeper, cast)
    registrar = Walker(person(cast.client_of("registrar")), live_server.url, "changes", width, after=keeper)
    read_on_the_animal_s_page(registrar, cast)
    find_among_all(registrar, cast)
    officer = Walker(person(cast.client_of("officer")), live_server.url, "changes", width, after=registrar)
    read_the_settings(officer, cast)
    for walk in (keeper, registrar, officer):
        walk.arrive()


def replace_the_mark(walk, cast):
    walk.to("mark-replace", cast.sire.marks.get().pk)
    walk.fill(mark="A11", reason="misread")
    walk.press("Save")
    expect(walk.page.get_by_role("heading", level=1)).to_contain_text("A11")
    walk.to("animal-changes", cast.sire.pk)
    expect(walk.page.get_by_role("main")).to_contain_text(
        "Ida Ashgrove changed the left-ear tattoo from A1 to A11, because: misread."
    )
    with acting(member=cast.keeper.pk, page="animal-update"):
        Animal.objects.filter(pk=cast.sire.pk).update(
            notes="Limps on the left hind foot since May", variety="black", status_note="in the sick bay"
        )
    walk.to("herd-changes", cast.herd.slug)
    expect(walk.page.get_by_role("main")).to_contain_text("Limps on the left hind foot")
    walk.see("the-keeper-reads-the-herd-s")
    walk.to("grant-changes", Grant.objects.filter(mentor=cast.mentor).get().pk)
    walk.see("how-a-grant-came-about")


def read_on_the_animal_s_page(walk, cast):
    walk.to("animal-detail", cast.sire.pk)
    if more := walk.page.locator(".thumb-bar summary").all():
        more[0].click()
    walk.press("Changes", role="link")
    expect(walk.page.get_by_role("heading", level=1)).to_contain_text("Changes of A11")
    expect(walk.page.get_by_role("main")).to_contain_text("from A1 to A11, because: misread.")
    expect(walk.page.get_by_role("main")).not_to_contain_text("Limps")
    walk.see("who-changed-the-mark")


def find_among_all(walk, cast):
    Animal.objects.filter(pk=cast.other_buck.pk).update(name="Flinty")
    walk.page.get_by_text("More", exact=True).first.click()
    walk.page.get_by_role("navigation", name="Main").get_by_role("link", name="Changes").click()
    expect(walk.page.get_by_role("main")).to_contain_text("The system changed M1 Flinty")
    walk.see("all-changes")
    if walk.width == 360:
        walk.page.get_by_role("main").get_by_text("Filter", exact=True).click()
    walk.page.get_by_label("Changed by").fill("ashgrove")
    walk.page.get_by_label("Kind").select_option("marks")
    walk.press("Show")
    expect(walk.page.get_by_role("main")).to_contain_text("1 change found")
    expect(walk.page.get_by_role("main")).not_to_contain_text("Flinty")
    walk.see("found-by-person-and-kind")


def read_the_settings(walk, cast):
    with acting(member=cast.officer.pk):
        change_settings(version=Club.current().version, by=cast.officer, quarantine_days=21)
    walk.to("club-settings")
    walk.press("Who changed them", role="link")
    expect(walk.page.get_by_role("main")).to_contain_text("quarantine for days from 30 to 21")
    expect(walk.page.get_by_role("main")).not_to_contain_text("A11")
    walk.see("who-changed-a-setting")
