"""Answers a request for a photo's file that the member may see."""

from django.core.files.storage import default_storage
from django.http import FileResponse, Http404
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.http import quote_etag
from django.utils.text import slugify

from . import photo_files as files
from .photo_store import SIZES

ORIGINAL = "original"


def answer(request, photo, size, called=""):
    """The file of that size, or 304 when the browser has it already.

    `called` is its name where the animal must not be known.

    `no-cache` lets the browser keep the file and makes it ask before each use, so that the photo is gone from a
    mentor's phone with the grant: the question comes here, through the permission check, and is answered 404. A copy
    never changes under its ETag, so that asking costs no second sending.
    """
    name = photo.original.name if size == ORIGINAL else photo.sized_path(size)
    etag = quote_etag(f"{photo.checksum[:32]}-{size}-{files.COPIES_VERSION}")
    response = get_conditional_response(request, etag=etag) or _file(photo, name, size, called)
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    patch_vary_headers(response, ["Cookie"])
    return response


def _file(photo, name, size, called):
    try:
        file = default_storage.open(name, "rb")
    except FileNotFoundError:
        raise Http404 from None
    ending = name.rpartition(".")[2]
    words = called or f"{photo.animal} {photo.get_view_display()} {photo.taken_on}"
    shown_name = f"{slugify(words) or 'photo'}.{ending}"
    return FileResponse(
        file, as_attachment=size == ORIGINAL, filename=shown_name, content_type=files.content_type(name)
    )


def known_size(size):
    """Whether an address names a size that is served."""
    return size == ORIGINAL or size in SIZES
