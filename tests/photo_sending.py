"""How tests send photos and run their job."""

import uuid

from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from grading.tasks import prepare_photo

FACTS = {"view": "left_side", "light": "open_shade", "reference": "none", "taken_on": ""}


def sent_files(*contents):
    return [SimpleUploadedFile(f"photo{number}.jpg", content) for number, content in enumerate(contents, 1)]


def send(client, animal, *contents, **facts):
    """What the form without script sends."""
    return client.post(reverse("photo-create", args=[animal.pk]), FACTS | facts | {"photos": sent_files(*contents)})


def send_by_script(client, animal, content, **facts):
    """What the script sends: one file with its key."""
    return send(client, animal, content, **{"client_key": str(uuid.uuid4())} | facts)


def prepared(photo):
    """The photo after its job."""
    prepare_photo.func(key=str(photo.key))
    photo.refresh_from_db()
    return photo
