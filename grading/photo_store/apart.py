"""Takes JPEG, PNG and WebP files apart byte by byte, so that the pixels of what is kept are never touched.

Kept is only what draws the picture. Everything else is dropped by not being copied, known or unknown: EXIF with the
position, XMP, IPTC, comments, thumbnails, maker's notes, and whatever is hung on behind the end (films, depth maps).
Sources: ITU-T T.81 annex B (JPEG markers), JFIF 1.02, W3C PNG third edition (chunks), RFC 9649 (WebP container).
"""

import re
import zlib
from dataclasses import dataclass

from .refusal import CUT_SHORT, DAMAGED, MOVING, NotAPhoto


@dataclass
class Apart:
    """What is kept of a file, and the two blocks of metadata that are read before they are dropped."""

    kept: bytes
    exif: bytes = b""
    profile: bytes = b""


# --- JPEG ---------------------------------------------------------

SOI, EOI, SOS, APP0, APP1, APP2, APP14 = 0xD8, 0xD9, 0xDA, 0xE0, 0xE1, 0xE2, 0xEE
FRAMES = (0xC0, 0xC1, 0xC2)  # baseline, extended and progressive, Huffman coded: what browsers show
TABLES = (0xC4, 0xDB, 0xDD)  # Huffman and quantisation tables, restart interval
MOST_SCANS = 100  # a file of thousands of scans would keep a core busy for minutes
# In coded data a marker is FF and a byte that is neither stuffing, fill nor restart.
NEXT_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
JFIF = b"\xff\xe0\x00\x10JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x00\x00"  # no density, no thumbnail
ICC_HEAD = b"ICC_PROFILE\x00"
ICC_ROOM = 65519


def jpeg(data):
    """A JPEG file apart; NotAPhoto when it has no end or a marker that no camera writes."""
    parts, profile, exif = [b"\xff\xd8"], {}, b""
    at, scans, framed = 2, 0, False
    while True:
        at, marker = _marker(data, at)
        if marker == EOI:
            break
        if marker == 0x01 or 0xD0 <= marker <= 0xD7:
            at += 2
            continue
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        body = data[at + 4 : at + 2 + length]
        if length < 2 or len(body) != length - 2:
            raise NotAPhoto(CUT_SHORT)
        if marker == SOS:
            scans += 1
            found = NEXT_MARKER.search(data, at + 2 + length)
            if found is None:
                raise NotAPhoto(CUT_SHORT)
            parts.append(data[at : found.start()])
            at = found.start()
            if scans > MOST_SCANS or not framed:
                raise NotAPhoto(DAMAGED)
            continue
        if marker in FRAMES or marker in TABLES:
            framed = framed or marker in FRAMES
            parts.append(data[at : at + 2 + length])
        elif marker == APP0 and body.startswith(b"JFIF\x00") and len(parts) == 1:
            parts.append(JFIF)
        elif marker == APP14 and body.startswith(b"Adobe") and len(body) >= 12:
            parts.append(b"\xff\xee\x00\x0e" + body[:12])  # says how the colours are coded
        elif marker == APP1 and body.startswith(b"Exif\x00") and not exif:
            exif = body
        elif marker == APP2 and body.startswith(ICC_HEAD) and len(body) > 14:
            profile[body[12]] = body[14:]
        elif not (APP0 <= marker <= 0xEF or marker == 0xFE or marker >= 0xF0):
            raise NotAPhoto(DAMAGED)
        at += 2 + length
    if not scans:
        raise NotAPhoto(DAMAGED)
    parts.append(b"\xff\xd9")
    return Apart(b"".join(parts), exif, b"".join(profile[number] for number in sorted(profile)))


def _marker(data, at):
    """The place and code of the marker at or, after fill bytes, behind `at`."""
    while data[at : at + 2] == b"\xff\xff":
        at += 1
    if at + 2 > len(data):
        raise NotAPhoto(CUT_SHORT)
    if data[at] != 0xFF or data[at + 1] == 0:
        raise NotAPhoto(DAMAGED)
    return at, data[at + 1]


def jpeg_with_profile(kept, profile):
    """The stripped JPEG with a colour profile put back, for the wait until its colours are converted."""
    rooms = [profile[i : i + ICC_ROOM] for i in range(0, len(profile), ICC_ROOM)]
    blocks = [
        b"\xff\xe2" + (len(room) + 16).to_bytes(2, "big") + ICC_HEAD + bytes([number, len(rooms)]) + room
        for number, room in enumerate(rooms, 1)
    ]
    head = 2 + len(JFIF) if kept.startswith(JFIF, 2) else 2
    return kept[:head] + b"".join(blocks) + kept[head:]


# --- PNG ----------------------------------------------------------

PNG_START = b"\x89PNG\r\n\x1a\n"
PNG_KEPT = (b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND")
LONGEST_PROFILE = 4 * 2**20


def png(data):
    """A PNG file apart; what is moving in it is dropped with its chunks, which leaves the first frame."""
    parts, exif, profile, at = [PNG_START], b"", b"", len(PNG_START)
    while True:
        length, name = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        whole = data[at : at + 12 + length]
        if len(whole) != 12 + length:
            raise NotAPhoto(CUT_SHORT)
        if name in PNG_KEPT:
            if zlib.crc32(whole[4:-4]) != int.from_bytes(whole[-4:], "big"):
                raise NotAPhoto(DAMAGED)
            parts.append(whole)
        elif name == b"eXIf":
            exif = b"Exif\x00\x00" + whole[8:-4]
        elif name == b"iCCP":
            profile = _inflated(whole[8:-4].partition(b"\x00")[2][1:])
        if name == b"IEND":
            return Apart(b"".join(parts), exif, profile)
        at += 12 + length


def _inflated(packed):
    """The profile of an iCCP chunk; empty when it is damaged or swells beyond any real profile."""
    try:
        unpacking = zlib.decompressobj()
        found = unpacking.decompress(packed, LONGEST_PROFILE)
    except zlib.error:
        return b""
    return b"" if unpacking.unconsumed_tail else found


def png_with_profile(kept, profile):
    """The stripped PNG with a colour profile put back, for the wait until its colours are converted."""
    body = b"iCCPcolour\x00\x00" + zlib.compress(profile)
    chunk = (len(body) - 4).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")
    behind_header = len(PNG_START) + 25
    return kept[:behind_header] + chunk + kept[behind_header:]


# --- WebP ---------------------------------------------------------

WEBP_KEPT = (b"VP8X", b"ALPH", b"VP8 ", b"VP8L")
FLAG_PROFILE, FLAG_ALPHA, FLAG_MOVES = 0x20, 0x10, 0x02


def webp(data):
    """A WebP file apart; a moving one is refused."""
    end = 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise NotAPhoto(CUT_SHORT)
    parts, exif, profile, at = [], b"", b"", 12
    while at + 8 <= end:
        name, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        body = data[at + 8 : at + 8 + length]
        if len(body) != length:
            raise NotAPhoto(CUT_SHORT)
        if name in (b"ANIM", b"ANMF"):
            raise NotAPhoto(MOVING)
        if name == b"VP8X" and length >= 10:
            if body[0] & FLAG_MOVES:
                raise NotAPhoto(MOVING)
            parts.append((name, bytes([body[0] & FLAG_ALPHA, 0, 0, 0]) + body[4:10]))
        elif name in WEBP_KEPT:
            parts.append((name, body))
        elif name == b"EXIF":
            exif = body if body.startswith(b"Exif\x00") else b"Exif\x00\x00" + body
        elif name == b"ICCP":
            profile = body
        at += 8 + length + length % 2
    if not any(name in (b"VP8 ", b"VP8L") for name, _ in parts):
        raise NotAPhoto(DAMAGED)
    return Apart(_riff(parts), exif, profile)


def _riff(parts):
    chunks = b"".join(name + len(body).to_bytes(4, "little") + body + b"\x00" * (len(body) % 2) for name, body in parts)
    return b"RIFF" + (len(chunks) + 4).to_bytes(4, "little") + b"WEBP" + chunks


def webp_with_profile(kept, profile):
    """The stripped WebP with a colour profile put back; one without the extended header has none to put back."""
    if kept[12:16] != b"VP8X":
        return kept
    head = bytearray(kept[12:30])
    head[8] |= FLAG_PROFILE
    block = b"ICCP" + len(profile).to_bytes(4, "little") + profile + b"\x00" * (len(profile) % 2)
    chunks = bytes(head) + block + kept[30:]
    return b"RIFF" + (len(chunks) + 4).to_bytes(4, "little") + b"WEBP" + chunks
