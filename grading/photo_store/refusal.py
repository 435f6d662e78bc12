"""Why a file is not taken, in sentences that a person reads."""

SEND = "Send a JPEG, PNG, WebP or HEIC photo."

EMPTY = "This file is empty. Take the photo again, or choose another."
CUT_SHORT = "This photo is cut short: a part of the file is missing. Choose it again from the camera's own gallery."
DAMAGED = "This photo is damaged and cannot be read. Choose another, or take it again."
MOVING = "This picture moves. Choose a still photo."


class NotAPhoto(Exception):
    """The file is not taken; `str()` is the sentence to show."""


def too_many_pixels(width, height, most):
    """The sentence for a picture of more pixels than are decoded."""
    return (
        f"This photo has {width * height / 1e6:,.0f} megapixels, and the registry takes up to {most / 1e6:,.0f}. "
        "Choose a smaller size in the camera's settings."
    )


def not_a_photo(data):
    """The sentence for content that is none of the formats; the name of the file is not asked."""
    start = data[:512].lstrip().lower()
    if start.startswith((b"<!doctype html", b"<html", b"<head", b"<body", b"<script")):
        return f"This is a web page, not a photo, whatever its name says. {SEND}"
    for magic, what in KNOWN.items():
        if data.startswith(magic):
            return f"This is {what}, which the registry does not take. {SEND}"
    if data[4:8] == b"ftyp":
        avif = data[8:12] in (b"avif", b"avis")
        return f"This is {'an AVIF picture' if avif else 'a film'}, which the registry does not take. {SEND}"
    return f"This is not a photo, whatever its name says. {SEND}"


KNOWN = {
    b"GIF8": "a GIF picture",
    b"%PDF": "a PDF document",
    b"II*\0": "a TIFF or raw camera file",
    b"MM\0*": "a TIFF or raw camera file",
    b"BM": "a BMP picture",
    b"PK\x03\x04": "a ZIP archive",
    b"\x00\x00\x01\x00": "an icon file",
}
