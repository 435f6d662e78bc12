"""Where a photo's files lie in the photo store; all reading and writing goes through Django's storage."""

import hashlib

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from .photo_store import KINDS, SIZES

FOLDER = "photos"
COPIES_VERSION = 1  # rises when the sized copies are made in another way, so that browsers ask for them anew


def folder_of(key):
    """Two levels of folders by the photo's key; nothing in a path tells about the animal."""
    return f"{FOLDER}/{key.hex[:2]}/{key.hex}"


def arriving_name(key, checked):
    """The name of a file that must be decoded before anybody sees it; it carries how the picture must be turned."""
    return f"{folder_of(key)}/arriving-{checked.orientation}.{KINDS[checked.kind].ending}"


def original_name(key, kind):
    return f"{folder_of(key)}/original.{KINDS[kind].ending}"


def is_arriving(name):
    """Whether a stored name is of a file that may not be served yet."""
    return "/arriving-" in name


def turned_by(name):
    """The EXIF orientation, 1 to 8, that an arriving file's name carries."""
    return int(name.rpartition("/arriving-")[2].partition(".")[0]) if is_arriving(name) else 1


def kind_of(name):
    """Which of KINDS a stored file is, by our own ending."""
    return next(word for word, kind in KINDS.items() if name.endswith(f".{kind.ending}"))


def content_type(name):
    return KINDS[kind_of(name)].content_type


def fingerprint(data):
    """SHA-256 of the bytes, in hex."""
    return hashlib.sha256(data).hexdigest()


def keep(name, content):
    """Write a file, in the place of one that an earlier, interrupted try left there. Returns the name it has."""
    if default_storage.exists(name):
        default_storage.delete(name)
    return default_storage.save(name, ContentFile(content))


def read(name):
    """All bytes of a stored file; FileNotFoundError when it is gone."""
    with default_storage.open(name, "rb") as file:
        return file.read()


def remove(*names):
    """Delete files; those that are not there are left alone."""
    for name in filter(None, names):
        default_storage.delete(name)


def all_names(photo):
    """Every name that the photo's files may have now."""
    return [photo.original.name, *(photo.sized_path(size) for size in SIZES)]
