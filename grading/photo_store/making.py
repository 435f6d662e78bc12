"""What the job does: decode whole, stand upright, say colours in sRGB, and make the sized copies."""

import io

from PIL import Image

from .arriving import KINDS, header
from .colours import to_srgb
from .refusal import DAMAGED, NotAPhoto

SIZES = {"320": 320, "1024": 1024, "2048": 2048}  # longest edge in pixels, by the word in the address
# EXIF's orientation is where the picture's first row and column stand (CIPA DC-008, table of tag 0x0112).
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
COPY = {"format": "JPEG", "quality": 82, "progressive": True, "optimize": True}
ORIGINAL = {"format": "JPEG", "quality": 95, "subsampling": 0}


def decoded(data, kind, *, orientation=1, max_pixels, longest=None):
    """The picture, RGB in sRGB, upright, without metadata. Raises NotAPhoto for what cannot be read to its end.

    longest : the longest edge that is needed; a JPEG is then decoded smaller from the start.
    """
    header(data, kind, max_pixels)
    try:
        with Image.open(io.BytesIO(data), formats=[KINDS[kind].pillow]) as picture:
            if longest:
                picture.draft(None, (longest, longest))
            profile = picture.info.get("icc_profile")
            picture.load()
            plain = to_srgb(_flat(picture), profile)
    except MemoryError:
        raise
    except Exception as error:  # a damaged file makes Pillow's readers raise many kinds
        raise NotAPhoto(DAMAGED) from error
    plain.info = {}
    return plain if orientation == 1 else plain.transpose(UPRIGHT[orientation])


def _flat(picture):
    """The picture in 8 bits and without transparency: what lets light through is laid on white."""
    if picture.mode.startswith("I"):
        # 16 bits to 8 by the upper byte; Pillow's own conversion would cut at 255.
        picture = picture.convert("I").point(lambda code: code / 256).convert("L")
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        over = picture.convert("RGBA")
        under = Image.new("RGBA", over.size, (255, 255, 255, 255))
        return Image.alpha_composite(under, over).convert("RGB")
    return picture


def as_original(picture, kind):
    """(bytes, kind) of a picture that had to be decoded: PNG stays without loss, all others become JPEG at 95."""
    file = io.BytesIO()
    if kind == "png":
        picture.save(file, "PNG")
        return file.getvalue(), "png"
    picture.save(file, **ORIGINAL)
    return file.getvalue(), "jpeg"


def copies(picture):
    """{size's word: JPEG bytes}. The picture is used up; it is never made larger than it is."""
    found, made, size = {}, b"", None
    for word, longest in sorted(SIZES.items(), key=lambda each: -each[1]):
        picture.thumbnail((longest, longest), Image.Resampling.LANCZOS, reducing_gap=3.0)
        if picture.size != size:
            file = io.BytesIO()
            picture.save(file, **COPY)
            made, size = file.getvalue(), picture.size
        found[word] = made
    return found
