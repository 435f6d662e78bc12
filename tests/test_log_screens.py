"""In a browser: one touch on today, chips for white, and weighing many in a row with the number keys and Enter."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from herds.models import MatingEvent, Weight

from .cast import make_cast
from .factories import make_litter, make_mating

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


def ago(days):
    return timezone.localdate() - timedelta(days=days)


@pytest.fixture
def barn(transactional_db):
    """The cast, a mating to palpate and a litter of three weeks."""
    cast = make_cast()
    cast.mating = make_mating(cast.daughter, cast.other_buck, mated_on=ago(12))
    cast.litter = make_litter(cast.dam, cast.sire, kits=3, born_on=ago(21))
    return cast


@pytest.fixture
def keeper(barn, context, live_server):
    """A page at phone width, signed in as the keeper; what the browser complains of ends up in `complaints`."""
    session = barn.client_of("keeper").cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
    page = context.new_page()
    page.set_default_timeout(10_000)
    page.set_viewport_size({"width": 360, "height": 740})
    page.complaints = []
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("console", lambda message: "Content Security" in message.text and page.complaints.append(message.text))
    page.to = lambda name, *args: page.goto(live_server.url + reverse(name, args=args))
    return page


def test_a_palpation_is_one_touch_and_one_more_takes_it_back(barn, keeper):
    keeper.to("today")
    line = keeper.locator(f"#line-palpate-{barn.mating.pk}")
    line.get_by_role("button", name="In kindle").click()
    expect(line.get_by_text("In the log")).to_be_visible()
    assert MatingEvent.objects.get().result == "in_kindle"
    expect(line.get_by_role("button", name="Undo")).to_be_focused()
    line.get_by_role("button", name="Undo").click()
    expect(line.get_by_role("button", name="In kindle")).to_be_visible()
    assert not MatingEvent.objects.exists()
    assert keeper.complaints == []


def test_a_touched_chip_is_saved_and_none_seen_stands_alone(barn, keeper):
    keeper.to("kit-list", barn.litter.pk, "white")
    row = keeper.locator("fieldset.kit-row").first
    row.get_by_label("Head").check()
    expect(row.get_by_text("Saved")).to_be_visible()
    row.get_by_label("None seen").check()
    expect(row.get_by_label("Head")).not_to_be_checked()
    assert barn.litter.kits.first().white_at == ["none"]
    assert keeper.complaints == []


def test_enter_leads_from_box_to_box_and_each_row_is_saved_as_it_is_left(barn, keeper):
    keeper.to("weigh-litter", barn.litter.pk)
    rows = keeper.locator("li.weigh-row")
    rows.nth(1).locator("input").first.focus()
    for typed in ("0", "13.5", "1", "20"):
        keeper.keyboard.type(typed)
        keeper.keyboard.press("Enter")
    expect(rows.nth(1).get_by_text("13.5 oz saved")).to_be_visible()
    expect(rows.nth(2).get_by_text("A pound has 16 ounces")).to_be_visible()
    expect(rows.nth(3).locator("input").first).to_be_focused()
    assert [weight.grams for weight in Weight.objects.all()] == [383]
    assert keeper.complaints == []


@pytest.mark.parametrize("width", [360, 1200])
def test_no_page_of_the_log_is_too_wide_or_closed_to_a_screen_reader(barn, keeper, width):
    barn.litter.kits.filter(number=3).update(white_at=["head"])
    Weight.objects.create(herd=barn.herd, litter=barn.litter, grams=1200, count=3, on=ago(0))
    Weight.objects.create(herd=barn.herd, animal=barn.sire, grams=4500, on=ago(9), note="before the show in North Vale")
    keeper.set_viewport_size({"width": width, "height": 740})
    pages = [
        ("today",), ("mating-list",), ("mating-create",), ("mating-detail", barn.mating.pk),
        ("mating-update", barn.mating.pk), ("litter-list",), ("litter-create",), ("litter-detail", barn.litter.pk),
        ("litter-update", barn.litter.pk), ("litter-event", barn.litter.pk), ("kit-list", barn.litter.pk, "white"),
        ("kit-list", barn.litter.pk, "sex"), ("kit-list", barn.litter.pk, "losses"), ("kit-foster", barn.litter.pk),
        ("kit-mark", barn.litter.pk), ("weigh",), ("weigh-herd", barn.herd.slug), ("weigh-litter", barn.litter.pk),
        ("weight-list", barn.sire.pk),
    ]  # fmt: skip
    for name, *args in pages:
        keeper.to(name, *args)
        assert keeper.evaluate("document.documentElement.scrollWidth") <= width, name
        if width == 360:
            found = Axe().run(keeper)
            assert found.violations_count == 0, f"{name}: {found.generate_report()}"
    assert keeper.complaints == []
