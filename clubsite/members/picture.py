"""The club's picture: whatever was sent is decoded and written anew, so that only pixels are kept."""

import hashlib
import io
import warnings

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from PIL import Image, ImageOps, UnidentifiedImageError

MOST_BYTES = 8 * 1024 * 1024
MOST_PIXELS = 40_000_000
LONGEST_SIDE = 1200
FORMATS = ("JPEG", "PNG", "WEBP")
NO_PICTURE = "This is not a picture that can be shown. Send a JPEG, PNG or WebP file."


def clean_picture(file):
    """A ContentFile named by its content, at most 1200 pixels long: PNG where it has see-through parts, else JPEG."""
    if file.size > MOST_BYTES:
        raise ValidationError(f"This file is larger than {MOST_BYTES // 1024**2} MB. Choose a smaller picture.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(file, formats=FORMATS) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    raise ValidationError("This picture has more than 40 megapixels. Choose a smaller one.")
                turned = ImageOps.exif_transpose(opened)
                see_through = turned.has_transparency_data
                picture = turned.convert("RGBA" if see_through else "RGB")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError, Warning) as error:
        raise ValidationError(NO_PICTURE) from error
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    fresh = Image.new(picture.mode, picture.size)  # a new picture has no metadata to carry along
    fresh.paste(picture)
    written = io.BytesIO()
    fresh.save(written, "PNG" if see_through else "JPEG", **({} if see_through else {"quality": 88}))
    content = written.getvalue()
    name = f"{hashlib.sha256(content).hexdigest()[:24]}.{'png' if see_through else 'jpg'}"
    return ContentFile(content, name=name)
