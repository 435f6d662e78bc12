"""The main job from the invitation to the two bucks side by side, on a phone and at a desk, in one go."""

from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from clubsite.members.models import Member
from fixtures import coats
from grading.models import Look, Photo
from grading.tasks import prepare_photo
from herds.models import Animal, Kit, Litter, LitterEvent, Mating, Weight
from tests.cast import make_cast

from .walker import Walker, close_notices
from .world import make_club, make_rich

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]

VIEWS = ("left_side", "head_front", "parted_loin")
PASSWORD = "seven brass buckles"


@pytest.fixture(scope="module")
def photographs(tmp_path_factory):
    """Three JPEG files of one coat as a phone would hand them over."""
    folder = tmp_path_factory.mktemp("camera")
    for number, view in enumerate(VIEWS):
        drawn = coats.draw(view, surface=6, undercolor=7, reach=8, seed=number, size=(800, 600))
        (folder / f"{view}.jpg").write_bytes(coats.jpeg_bytes(drawn))
    return [folder / f"{view}.jpg" for view in VIEWS]


class Clock:
    """The server's clock, which starts `days` back and is set on by hand; the database keeps the real one."""

    def __init__(self, days):
        self.now = timezone.now()
        self.travel = time_machine.travel(self.now - timedelta(days=days), tick=True)
        self.at = self.travel.start()

    def days_ago(self, days):
        self.at.move_to(self.now - timedelta(days=days))

    def today(self):
        self.travel.stop()


def day(days=0):
    return (timezone.localdate() - timedelta(days=days)).isoformat()


@pytest.mark.parametrize("width", [360, 1280])
def test_a_newcomer_logs_a_barn_grades_it_with_photos_and_compares_two_bucks(
    transactional_db, person, live_server, photographs, width
):
    make_club()
    cast = make_cast()
    make_rich(cast)
    officer = Walker(person(cast.client_of("officer")), live_server.url, "newcomer", width)
    link = invite(officer)
    walk = Walker(person(), live_server.url, "newcomer", width, after=officer)
    join(walk, link)
    log_the_barn(walk)
    clock = Clock(56)
    try:
        kindle(walk)
        clock.days_ago(35)
        weigh_the_litter(walk)
        clock.days_ago(7)
        wean(walk)
    finally:
        clock.today()
    mark_the_kits(walk)
    look_from_paper(walk)
    look_with_photos(walk, photographs)
    compare_bucks(walk, cast)
    officer.arrive()
    walk.arrive()


def invite(walk):
    walk.to("invitation-create")
    walk.page.get_by_label("E-mail address").fill("fenna@example.org")
    walk.see("officer-invites")
    walk.press("Send the invitation")
    link = walk.page.locator("#invitation-link").inner_text()
    walk.see("the-link-for-the-newcomer")
    return link


def join(walk, link):
    page = walk.page
    page.goto(link)
    walk.see("invitation-opened")
    walk.fill(name="Fenna Larkfield", region="West Vale", password=PASSWORD, again=PASSWORD)
    walk.press("Join the club's registry")
    page.wait_for_url("**/today/")
    walk.see("welcome")
    assert Member.objects.filter(name="Fenna Larkfield").exists()


def log_the_barn(walk):
    page = walk.page
    walk.press("Go to herds", role="link")
    walk.see("no-herd-yet")
    walk.to("herd-create")
    walk.fill(name="Larkfield", prefix="Larkfield", region="West Vale")
    walk.see("a-herd-begins")
    walk.press("Add the herd")
    walk.see("the-herd-is-empty")
    animals = (
        ("L1", "buck", 1100, ("", "")), ("L2", "doe", 1050, ("", "")), ("L3", "buck", 500, ("L1", "L2")),
        ("L4", "doe", 480, ("", "")), ("L5", "doe", 470, ("", "")),
    )  # fmt: skip
    walk.to("animal-create")
    for mark, sex, age, parents in animals:
        walk.fill(mark=mark, born_on=day(age))
        page.get_by_label(sex.capitalize(), exact=True).check()
        for role, parent in zip(("sire", "dam"), parents, strict=True):
            walk.fill(**{role: parent})  # after 'log the next' the parents of the last one still stand there
            expect(page.locator(f"#{role}-answers input[name={role}_for]")).to_have_value(parent)
            if parent:
                page.locator(f"#{role}-answers").get_by_text(parent).first.click()
        if mark in ("L1", "L3"):
            walk.see(f"logging-{mark}")
        walk.press("Save" if mark == "L5" else "Save and log the next")
        expect(page.get_by_text(f"{mark} is logged").or_(page.get_by_text(mark)).first).to_be_visible()
    walk.see("the-last-one-is-logged")
    assert Animal.objects.get(mark_text="L3").sire.mark_text == "L1"


def kindle(walk):
    """On the day of kindling: the mating of a month ago, the litter, white at birth, the first look into the nest."""
    page = walk.page
    doe, buck = Animal.objects.get(mark_text="L4"), Animal.objects.get(mark_text="L3")
    walk.to("today")
    walk.press("Mating", role="link")
    page.locator("[name=doe]").select_option(str(doe.pk))
    page.locator("[name=buck]").select_option(str(buck.pk))
    walk.fill(mated_on=day(31))
    walk.see("a-mating-of-a-month-ago")
    walk.press("Save the mating")
    walk.see("the-mating")
    assert Mating.objects.get().mated_on.isoformat() == day(31)
    walk.to("today")
    walk.see("kindling-is-due")
    walk.to("mating-detail", Mating.objects.get().pk)
    walk.press("Log the kindling", role="link")
    walk.fill(born_alive="5", born_dead="1")
    walk.see("kindling")
    walk.press("Save the kindling")
    walk.see("the-litter")
    litter = Litter.objects.get()
    walk.press("White at birth", role="link")
    rows = page.locator("fieldset.kit-row")
    rows.first.get_by_label("Head").check()
    expect(rows.first.get_by_text("Saved")).to_be_visible()
    walk.see("white-on-one-kit")
    walk.press("None seen on all kits not looked at yet")
    close_notices(page)
    assert [kit.white_at for kit in Kit.objects.all()] == [["head"], *[["none"]] * 4]
    walk.see("white-is-noted")
    walk.to("today")
    walk.see("the-nest-is-to-be-looked-into")
    line = page.locator(f"#line-first_check-{litter.pk}")
    line.get_by_role("button", name="All 5 alive").click()
    expect(line.get_by_text("In the log")).to_be_visible()
    walk.see("looked-into-the-nest")
    assert litter.events.get().alive == 5


def look_from_paper(walk):
    """A short one of three weeks ago, so that the next has something to be compared with."""
    walk.to("look-create", Animal.objects.get(mark_text="L3").pk)
    walk.page.locator(".look-more summary").click()
    walk.fill(observed_on=day(21))
    walk.see("a-look-begins")
    walk.page.get_by_label("Open shade").check()
    walk.press("From three paces")
    answer_section(walk, steps={"surface_shade": 5})
    walk.to("look-section", Look.objects.get(animal__mark_text="L3").pk, 3)
    answer_section(walk, steps={"undercolor--shoulder": 6, "undercolor--loin": 6, "undercolor--rump": 6})
    walk.press("Finish here")
    walk.see("the-first-look-is-finished")


def weigh_the_litter(walk):
    page = walk.page
    walk.to("today")
    walk.see("the-litter-is-three-weeks-old")
    walk.to("litter-detail", Litter.objects.get().pk)
    walk.press("Weigh", role="link")
    rows = page.locator("li.weigh-row")
    expect(rows.first).to_be_visible()
    page.wait_for_load_state()  # the boxes are there before the script that leads Enter from box to box
    rows.first.locator("input").first.focus()
    for typed in ("3", "5"):
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
    expect(rows.first.get_by_text("3 lb 5 oz saved")).to_be_visible()
    walk.see("the-litter-on-the-scale")
    walk.press("Done")
    walk.see("the-litter-is-weighed")
    assert Weight.objects.filter(litter__isnull=False).exists()


def wean(walk):
    walk.to("today")
    walk.see("weaning-is-due")
    walk.to("litter-detail", Litter.objects.get().pk)
    walk.press("Wean", role="link")
    walk.see("weaning")
    walk.press("Save")
    walk.see("weaned")
    assert LitterEvent.objects.get(kind="weaned").alive == 5


def mark_the_kits(walk):
    page = walk.page
    walk.to("kit-mark", Litter.objects.get().pk)
    walk.see("tattoo-day")
    for number, row in enumerate(page.locator("fieldset.kit-row").all(), 1):
        row.locator("[name$=-mark]").fill(f"L1{number}")
        row.get_by_label("Buck" if number % 2 else "Doe", exact=True).check()
    walk.see("tattoo-day-filled-in")
    walk.press("Save the marks")
    walk.see("the-kits-are-animals")
    young = Animal.objects.get(mark_text="L11")
    assert (young.sire.mark_text, young.dam.mark_text, young.kit.white_at) == ("L3", "L4", ["head"])
    page.goto(walk.base + young.get_absolute_url())
    walk.see("a-young-buck")


def answer_section(walk, steps=None, goal_hidden=True):
    """Give every scale of the section a step, or 'cannot tell' to every fourth; only those of `steps` when given."""
    page = walk.page
    names = [each.get_attribute("id").removeprefix("scale-") for each in page.locator("fieldset.scale:enabled").all()]
    for number, name in enumerate(names):
        if steps is not None and name not in steps:
            continue
        scale = page.locator(f"#scale-{name}")
        expect(scale.locator(".scale-goal")).to_have_count(0)
        cannot = steps is None and number % 4 == 3
        step = (steps or {}).get(name, 7 if number % 2 else 6)
        scale.locator("label.cannot" if cannot else f"label.s{step}").click()
        expect(page.locator(f"#scale-{name} legend .saved")).to_be_visible()
        if cannot:
            expect(page.locator(f"#scale-{name} .scale-goal")).to_have_count(0)
    return names


def look_with_photos(walk, photographs):
    page = walk.page
    buck = Animal.objects.get(mark_text="L3")
    walk.to("animal-detail", buck.pk)
    walk.see("the-buck-before-the-look")
    walk.to("look-create", buck.pk)
    page.get_by_label("Open shade").check()
    walk.press("From three paces")
    look = Look.objects.latest("pk")
    walk.see("section-1-nothing-chosen")
    for section in range(1, 6):
        expect(page).to_have_url(walk.base + reverse("look-section", args=[look.pk, section]))
        assert answer_section(walk)
        if section == 2:
            page.locator(".look-finding").first.get_by_text("Not seen").click()
            expect(page.locator(".look-finding").first.locator(".saved")).to_be_visible()
        if section == 5:
            send_photos(walk, buck, photographs)
        walk.see(f"section-{section}-answered")
        if section < 5:
            walk.page.locator("button[name=then][value=next]").click()
    walk.press("Finish the look")
    expect(page.get_by_role("heading", name="What changed")).to_be_visible()
    walk.see("what-changed")
    look.refresh_from_db()
    assert look.finished_at
    assert look.answers.filter(cannot_tell=True).exists()
    walk.to("photo-list", buck.pk)
    walk.see("photos-side-by-side")
    walk.to("animal-detail", buck.pk)
    walk.see("the-buck-after-the-look")


def send_photos(walk, buck, photographs):
    page = walk.page
    page.get_by_text("Take photos").click()
    walk.see("section-5-before-the-photos")
    page.locator("input[data-photos][multiple]").set_input_files(photographs)
    expect(page.get_by_text("3 of 3 photos have arrived.")).to_be_visible()
    for photo in Photo.objects.filter(animal=buck):
        prepare_photo.call(str(photo.key))
    assert [photo.state for photo in Photo.objects.filter(animal=buck)] == ["ready"] * 3
    expect(page.locator(".photo-row .saved")).to_have_count(3)
    for number, photograph in enumerate(reversed(photographs)):  # the last one stands first
        row = page.locator(".photo-row").nth(number)
        with page.expect_response("**/change/"):
            row.locator("select").select_option(photograph.stem)
    expect(page.locator(".photo-row .saved")).to_have_count(3)
    assert {photo.view for photo in Photo.objects.filter(animal=buck)} == set(VIEWS)


def compare_bucks(walk, cast):
    page = walk.page
    walk.to("sire-list", query="?scope=club")
    walk.see("the-clubs-sires")
    for buck in (cast.sire, cast.other_buck):
        page.get_by_label(f"Choose {buck} to compare").check(force=True)
    walk.see("two-bucks-chosen")
    walk.press("Compare them")
    expect(page.locator("svg[class*=marks], figure svg").first).to_be_visible()
    walk.see("two-bucks-side-by-side")
    walk.to("sire-detail", cast.sire.pk)
    walk.see("one-buck")
    walk.to("year-list", query="?scope=club")
    walk.see("the-years")
