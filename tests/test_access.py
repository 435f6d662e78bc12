"""Every address of the site against everybody of the cast: who is let in, and who is told that there is nothing.

A new address without a row here fails the first test. GET unless the row says POST; a POST is sent empty, so whoever
may do it is answered with a form's errors or a redirect, and whoever may not know of the thing with 404.
"""

import pytest
from django.db import transaction
from django.urls import reverse

from .addresses import ROWS, SIGNED_IN, addresses, make_things
from .cast import PEOPLE


def test_every_address_has_its_row_and_every_row_its_address():
    assert sorted(ROWS) == addresses()


@pytest.fixture
def things(cast):
    return make_things(cast)


def answer(cast, who, row, url, query):
    """The status that `who` gets; whatever it wrote is taken back."""
    client = cast.client_of(who)
    client.raise_request_exception = False
    with transaction.atomic():
        response = getattr(client, row.method)(url, query)
        status = response.status_code
        if response.streaming:
            response.getvalue()  # which closes the photo's file
        transaction.set_rollback(True)
    return status


@pytest.mark.parametrize("name", sorted(ROWS))
def test_everybody_gets_what_their_part_allows(cast, things, name):
    row = ROWS[name]
    url = reverse(name, args=[things[arg] for arg in row.args])
    query = {name: things[arg] for name, arg in row.query.items()}
    got = {who: answer(cast, who, row, url, query) for who in PEOPLE}
    signed_in = {who: status for who, status in got.items() if who != "visitor"}
    refused = {who for who, status in signed_in.items() if status == row.refused}
    assert refused == SIGNED_IN - row.let_in, got
    assert all(status < 500 for status in got.values()), got
    if "visitor" not in row.let_in:
        assert got["visitor"] == 302, got
