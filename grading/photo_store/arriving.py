"""What a file is, told by its content and its header alone: nothing is decoded here."""

import io
import warnings
from dataclasses import dataclass, field
from datetime import date, datetime

import pillow_heif
from PIL import Image

from . import apart
from .colours import is_srgb
from .refusal import CUT_SHORT, DAMAGED, EMPTY, NotAPhoto, not_a_photo, too_many_pixels

pillow_heif.register_heif_opener()
pillow_heif.options.DECODE_THREADS = 2
warnings.filterwarnings("error", category=Image.DecompressionBombWarning)

ORIENTATION, EXIF_IFD, TAKEN = 0x0112, 0x8769, 0x9003
HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1"}
PLAIN_MODES = {
    "jpeg": {"RGB", "L"},
    "png": {"1", "L", "LA", "P", "PA", "RGB", "RGBA", "I;16", "I"},
    "webp": {"RGB", "RGBA"},
}


@dataclass(frozen=True)
class Kind:
    """A format that is taken: Pillow's name for it, the ending of its files, and what a browser calls it."""

    pillow: str
    ending: str
    content_type: str


KINDS = {
    "jpeg": Kind("JPEG", "jpg", "image/jpeg"),
    "png": Kind("PNG", "png", "image/png"),
    "webp": Kind("WEBP", "webp", "image/webp"),
    "heic": Kind("HEIF", "heic", "image/heic"),
}


@dataclass(frozen=True)
class Checked:
    """A file that may be stored. `stands` False: it must be decoded before anybody may see it."""

    kind: str
    content: bytes = field(repr=False)
    width: int
    height: int
    orientation: int
    stands: bool
    taken_on: date | None


def kind_of(data):
    """Which of KINDS the bytes are; NotAPhoto for everything else."""
    if not data:
        raise NotAPhoto(EMPTY)
    if data.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if data.startswith(apart.PNG_START):
        return "png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    if data[4:8] == b"ftyp" and _brands(data) & HEIC_BRANDS and data[8:12] not in (b"avif", b"avis"):
        return "heic"
    raise NotAPhoto(not_a_photo(data))


def check(data, *, max_pixels):
    """What is left of the file once its metadata is dropped, and what must still be done to it. Raises NotAPhoto."""
    kind = kind_of(data)
    if kind == "heic":
        return _checked_heic(data, max_pixels)
    found = getattr(apart, kind)(data)
    width, height, mode, _exif = header(found.kept, kind, max_pixels)
    orientation, taken_on = told_by(found.exif)
    convert = bool(found.profile) and not is_srgb(found.profile)
    content = getattr(apart, f"{kind}_with_profile")(found.kept, found.profile) if convert else found.kept
    stands = orientation == 1 and not convert and mode in PLAIN_MODES[kind]
    return Checked(kind, content, width, height, orientation, stands, taken_on)


def _checked_heic(data, max_pixels):
    """HEIC holds its metadata inside the coded picture's container, so it is kept unseen until it is decoded."""
    if _end_of_boxes(data) > len(data):
        raise NotAPhoto(CUT_SHORT)
    width, height, _mode, exif = header(data, "heic", max_pixels)
    return Checked("heic", data, width, height, 1, False, told_by(exif)[1])


def header(data, kind, max_pixels):
    """Width, height, Pillow's mode and the EXIF block, from the header alone; NotAPhoto when it makes no sense."""
    try:
        with Image.open(io.BytesIO(data), formats=[KINDS[kind].pillow]) as picture:
            (width, height), mode, exif = picture.size, picture.mode, picture.info.get("exif") or b""
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise NotAPhoto(_of_a_bomb(max_pixels)) from error
    except Exception as error:  # Pillow's readers raise whatever a hostile header leads them to
        raise NotAPhoto(DAMAGED) from error
    if width * height > max_pixels:
        raise NotAPhoto(too_many_pixels(width, height, max_pixels))
    return width, height, mode, exif


def _of_a_bomb(max_pixels):
    return (
        f"This photo has far more than the {max_pixels / 1e6:,.0f} megapixels that the registry takes. "
        "Choose a smaller size in the camera's settings."
    )


def told_by(exif):
    """(orientation 1 to 8, day it was taken or None) from an EXIF block; nonsense is no news."""
    try:
        block = Image.Exif()
        block.load(exif)
        orientation = block.get(ORIENTATION, 1)
        text = str(block.get_ifd(EXIF_IFD).get(TAKEN, ""))
    except Exception:  # what a block of metadata holds is nobody's promise
        return 1, None
    try:
        day = datetime.strptime(text[:10], "%Y:%m:%d").date()
    except ValueError:
        day = None
    return (orientation if orientation in range(1, 9) else 1), day


def _brands(data):
    size = int.from_bytes(data[:4], "big")
    return {data[8:12], *(data[i : i + 4] for i in range(16, min(size, 256, len(data)), 4))}


def _end_of_boxes(data):
    """Where the last top-level box ends, by the sizes that the boxes tell (ISO/IEC 14496-12, section 4.2)."""
    at = 0
    while at + 8 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        if size == 0:
            return len(data)
        if size < 8:
            raise NotAPhoto(DAMAGED)
        at += size
    return at
