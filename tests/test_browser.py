"""The browser that the journeys run in: it is there, it sees the site, and the site keeps its own content policy."""

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.mark.django_db(transaction=True)
def test_the_public_page_opens_at_phone_width_without_a_word_of_complaint(page, live_server):
    complaints = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.set_viewport_size({"width": 360, "height": 740})
    answer = page.goto(live_server.url)
    assert answer.status == 200
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert complaints == []
