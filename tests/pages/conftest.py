"""Clean contexts for several people in one browser."""

import pytest

from .walker import sign_in


@pytest.fixture
def person(browser, live_server):
    """Makes a browser context of one person's own: person(client) is signed in, person() is a stranger."""
    contexts = []

    def make(client=None, **given):
        context = browser.new_context(locale="en-GB", color_scheme="light", **given)
        contexts.append(context)
        if client is not None:
            sign_in(context, client, live_server.url)
        return context

    yield make
    for context in contexts:
        context.close()
