"""What the photo store and the queue have lost or left over."""

from collections.abc import Iterator
from datetime import timedelta
from uuid import UUID

from django.core.files.storage import default_storage
from django.utils import timezone

from . import photo_files as files
from .models import Photo, PhotoState
from .tasks import waiting_photos_without_job


def waiting_without_job():
    """Keys of photos that wait although no job of theirs is queued or running."""
    return waiting_photos_without_job(older_than=timedelta(0), even_if_failed=True)


def orphans(*, hours, now=None) -> Iterator[str]:
    """Names of stored files that belong to no photo, and were not written within so many hours."""
    before = (now or timezone.now()) - timedelta(hours=hours)
    for shelf in _folders(files.FOLDER):
        folders = _folders(f"{files.FOLDER}/{shelf}")
        photos = Photo.objects.in_bulk([key for key in map(_key, folders) if key], field_name="key")
        for folder in folders:
            place = f"{files.FOLDER}/{shelf}/{folder}"
            photo = photos.get(_key(folder))
            known = set(files.all_names(photo)) if photo and photo.state != PhotoState.REFUSED else set()
            for name in default_storage.listdir(place)[1]:
                whole = f"{place}/{name}"
                if whole not in known and default_storage.get_modified_time(whole) < before:
                    yield whole


def remove_orphans(names):
    files.remove(*names)


def without_files() -> Iterator[Photo]:
    """Photos that are called ready although one of their files is gone."""
    for photo in Photo.objects.filter(state=PhotoState.READY).select_related("animal").iterator(chunk_size=500):
        if not all(default_storage.exists(name) for name in files.all_names(photo)):
            yield photo


def _folders(place):
    return sorted(default_storage.listdir(place)[0]) if default_storage.exists(place) else []


def _key(folder):
    try:
        return UUID(hex=folder)
    except ValueError:
        return None
