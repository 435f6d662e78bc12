"""The club's own picture of a step: made small, upright and without metadata before it is kept."""

import io
import uuid

from django.conf import settings

from . import photo_files as files
from .photo_store import NotAPhoto, check, decoded
from .photo_store.making import COPY

LONGEST = 1024


def as_step_picture(sent):
    """JPEG bytes of an uploaded file. Raises NotAPhoto with a sentence."""
    if sent.size > settings.PHOTO_MAX_BYTES:
        most = settings.PHOTO_MAX_BYTES // 1024**2
        raise NotAPhoto(
            f"This picture has {sent.size / 1024**2:,.0f} MB; {most} MB are the most. Choose a smaller one."
        )
    checked = check(sent.read(), max_pixels=settings.PHOTO_MAX_PIXELS)
    picture = decoded(
        checked.content,
        checked.kind,
        orientation=checked.orientation,
        max_pixels=settings.PHOTO_MAX_PIXELS,
        longest=LONGEST,
    )
    picture.thumbnail((LONGEST, LONGEST))
    file = io.BytesIO()
    picture.save(file, **COPY)
    return file.getvalue()


def keep_step_pictures(pictures):
    """Store JPEG bytes by step; the stored names by step. No name is used twice, since editions share pictures."""
    return {step: files.keep(f"steps/{uuid.uuid4().hex}.jpg", data) for step, data in pictures.items()}
