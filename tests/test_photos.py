"""Photos of an animal: sent, stripped, sized, and served to whom they may be shown."""

import io

import piexif
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from grading import photo_files as files
from grading.models import Photo
from grading.tasks import prepare_photo

from . import photos_made as made

FACTS = {"view": "left_side", "light": "open_shade", "reference": "none", "taken_on": ""}


def send(client, animal, *contents, **facts):
    sent = [SimpleUploadedFile(f"photo{number}.jpg", content) for number, content in enumerate(contents, 1)]
    return client.post(reverse("photo-create", args=[animal.pk]), FACTS | {"photos": sent} | facts)


def prepared(photo):
    prepare_photo.func(key=str(photo.key))
    photo.refresh_from_db()
    return photo


@pytest.mark.django_db
def test_a_photo_is_sent_stripped_sized_and_shown(cast):
    client = cast.client_of("keeper")
    data = made.jpeg(exif=made.exif_block(taken="2026:01:02 03:04:05"))
    assert send(client, cast.daughter, data).status_code == 302
    photo = prepared(Photo.objects.get())
    assert (photo.state, photo.width, photo.height) == ("ready", 640, 480)
    stored = files.read(photo.original.name)
    assert piexif.load(data)["GPS"]
    assert not any(part for name, part in piexif.load(stored).items())
    answer = client.get(reverse("photo-file", args=[photo.key, "320"]))
    assert answer.status_code == 200
    assert Image.open(io.BytesIO(answer.getvalue())).size == (320, 240)
    assert str(photo.key) in client.get(reverse("photo-list", args=[cast.daughter.pk])).text


@pytest.mark.django_db
def test_a_stranger_gets_no_photo(cast):
    send(cast.client_of("keeper"), cast.daughter, made.jpeg())
    photo = prepared(Photo.objects.get())
    client = cast.client_of("fellow")
    assert client.get(reverse("photo-file", args=[photo.key, "320"])).status_code == 404
    assert client.get(reverse("photo-list", args=[cast.daughter.pk])).status_code == 404
    assert send(client, cast.daughter, made.jpeg((64, 48))).status_code == 404
    assert Photo.objects.count() == 1
