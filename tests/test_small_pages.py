"""Pages go out compressed to those who ask for it; what is no page goes out as it is."""

import gzip
import io

import pytest
from django.http import FileResponse, HttpResponse
from django.test import RequestFactory
from django.urls import reverse

from clubsite.middleware import SmallPages

ASKING = {"accept-encoding": "gzip, br"}


@pytest.mark.django_db
def test_a_page_is_sent_compressed_to_whoever_takes_it(cast):
    client, address = cast.client_of("keeper"), reverse("animal-detail", args=[cast.dam.pk])
    plain, packed = client.get(address), client.get(address, headers=ASKING)
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "accept-encoding" in packed.headers["Vary"].lower()
    assert cast.dam.mark_text in gzip.decompress(packed.content).decode()
    assert len(packed.content) < len(plain.content) / 2


@pytest.mark.parametrize("kind", ["file", "picture", "sheet"])
def test_files_are_left_alone(kind):
    answers = {
        "file": lambda request: FileResponse(io.BytesIO(b"x" * 5_000), content_type="image/jpeg"),
        "picture": lambda request: HttpResponse(b"x" * 5_000, content_type="image/jpeg"),
        "sheet": lambda request: HttpResponse(b"x" * 5_000, content_type="text/csv"),
    }
    response = SmallPages(answers[kind])(RequestFactory().get("/", headers=ASKING))
    assert "Content-Encoding" not in response.headers
