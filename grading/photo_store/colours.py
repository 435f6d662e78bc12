"""Colour profiles: whether one says what every screen assumes anyway, and how to get there when it does not."""

import io
from functools import lru_cache
from itertools import product

from PIL import Image, ImageCms

MODES = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}
WITHIN = 2  # codes of 255 that a profile may be off and still be called the same


@lru_cache(maxsize=64)
def is_srgb(profile):
    """Whether pixels under this profile mean what they mean in sRGB; a profile that cannot be read counts as none."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        mode = MODES[source.profile.xcolor_space.strip()]
        plain = _samples(mode)
        through = ImageCms.profileToProfile(plain, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, KeyError):
        return True
    if mode == "CMYK":
        return False
    pairs = zip(plain.convert("RGB").tobytes(), through.tobytes(), strict=True)
    return max(abs(before - after) for before, after in pairs) <= WITHIN


def to_srgb(picture, profile):
    """The picture, RGB, with its colours said in sRGB. A profile that does not fit the picture is left aside."""
    if picture.mode not in MODES.values():
        picture = picture.convert("RGB")
    if profile:
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            target = ImageCms.createProfile("sRGB")
            return ImageCms.profileToProfile(picture, source, target, outputMode="RGB")
        except (ImageCms.PyCMSError, OSError):
            pass
    return picture if picture.mode == "RGB" else picture.convert("RGB")  # a needless copy of 60 megapixels is 180 MB


def _samples(mode):
    """A small picture of colours spread over the whole range."""
    steps = range(0, 256, 51) if mode != "L" else range(256)
    bands = {"L": 1, "RGB": 3, "CMYK": 3}[mode]
    codes = bytes(code for colour in product(steps, repeat=bands) for code in colour)
    picture = Image.frombytes("L" if bands == 1 else "RGB", (len(codes) // bands, 1), codes)
    return picture.convert(mode) if picture.mode != mode else picture
