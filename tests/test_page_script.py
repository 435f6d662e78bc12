"""In a browser: the style page is accessible at every width and in both schemes, and base.js keeps its promises."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

pytestmark = [pytest.mark.browser, pytest.mark.urls("tests.style_urls"), pytest.mark.django_db(transaction=True)]


@pytest.fixture
def trial(page, live_server):
    page.set_default_timeout(10_000)
    page.goto(f"{live_server.url}/try/")
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1200])
def test_axe_finds_nothing_on_the_style_page(page, live_server, width, scheme):
    complaints = []
    page.on("console", lambda message: message.type == "error" and complaints.append(message.text))
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)
    page.goto(f"{live_server.url}/styleguide/")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert complaints == []  # the Content-Security-Policy refused nothing


@pytest.mark.parametrize("width", [320, 360, 768])
def test_nothing_on_the_style_page_is_wider_than_the_screen(page, live_server, width):
    page.set_viewport_size({"width": width, "height": 700})
    page.goto(f"{live_server.url}/styleguide/")
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_step_is_a_target_for_a_thumb_at_360_px_and_shows_its_words(page, live_server):
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{live_server.url}/styleguide/")
    box = page.locator("#scale-surface .step").nth(3).bounding_box()
    assert box["width"] >= 36
    assert box["height"] >= 56
    page.locator("#surface-3").check(force=True)
    near = page.locator("#scale-surface .scale-near")
    expect(near).to_have_text("3 dark silver", use_inner_text=True)
    page.keyboard.press("ArrowRight")
    expect(near).to_contain_text("5 mid silver", use_inner_text=True)


def test_what_was_typed_stays_when_the_site_breaks(trial):
    trial.fill("#breaks input", "white at the toes")
    trial.click("#breaks button")
    expect(trial.locator("#toasts")).to_contain_text("Not saved")
    expect(trial.locator("#breaks input")).to_have_value("white at the toes")
    expect(trial.locator("#breaks button")).to_be_enabled()


def test_a_refused_form_is_swapped_in_and_its_errors_get_the_focus(trial):
    trial.click("#refused button")
    expect(trial.locator("#refused .form-errors")).to_be_focused()


def test_an_answer_given_without_connection_is_sent_when_it_is_back(trial):
    trial.context.set_offline(True)
    trial.click("#again")
    expect(trial.locator("#connection")).to_be_visible()
    expect(trial.locator("#toasts")).to_contain_text("Trying again by itself")
    trial.context.set_offline(False)
    expect(trial.locator("#out")).to_have_text("answered")
    expect(trial.locator("#connection")).to_be_hidden()


def test_a_step_that_asks_goes_on_only_after_yes(trial):
    trial.click("#asked button")
    trial.get_by_role("button", name="No, go back").click()
    assert trial.url.endswith("/try/")
    trial.click("#asked button")
    trial.get_by_role("button", name="Yes, do it").click()
    expect(trial.locator("body")).to_have_text("answered yes")


def test_a_form_pressed_twice_is_sent_once(trial):
    sent = []
    trial.on("request", lambda request: request.method == "POST" and sent.append(request.url))
    trial.locator("#twice button").dblclick()
    expect(trial.locator("#twice button")).to_be_disabled()
    assert len(sent) == 1
