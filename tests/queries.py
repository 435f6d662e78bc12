"""Counting what a page asks of the database."""

from django.db import connection
from django.test.utils import CaptureQueriesContext


def queries_of(client, url, **headers):
    """How many queries a GET costs once the club's row is there; the page must open."""
    client.get(url, headers=headers)
    with CaptureQueriesContext(connection) as seen:
        response = client.get(url, headers=headers)
    assert response.status_code == 200
    return len(seen)
