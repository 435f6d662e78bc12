"""Files of photos: told by their content, stripped, decoded safely. What metadata is left is asked of other libraries.

Written by: piexif 1.1 (EXIF, GPS, thumbnail), Pillow (PNG text, WebP blocks, profiles), libheif through pillow-heif
(HEIC), and by hand after the published formats (XMP, IPTC, JPEG segments). Read back by: piexif and Pillow.
"""

import io
import zlib

import numpy as np
import piexif
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from grading import photo_store as store

from . import photos_made as made

LIMIT = 60_000_000
TALKATIVE = {
    "jpeg": made.talkative_jpeg,
    "png": made.talkative_png,
    "webp": made.talkative_webp,
    "heic": made.talkative_heic,
}


def check(data):
    return store.check(data, max_pixels=LIMIT)


def decoded(checked):
    return store.decoded(checked.content, checked.kind, orientation=checked.orientation, max_pixels=LIMIT)


def original(data):
    """What is stored in the end, after the job where one is needed: (bytes, kind)."""
    checked = check(data)
    return (checked.content, checked.kind) if checked.stands else store.as_original(decoded(checked), checked.kind)


def codes(image):
    return np.asarray(image.convert("RGB"), dtype=int)


def assert_tells_nothing(data):
    assert not [secret for secret in made.SECRETS if secret in data]
    assert b"Exif\x00" not in data
    assert b"ns.adobe.com" not in data
    with Image.open(io.BytesIO(data)) as image:
        assert not dict(image.getexif())
        left = {key for key in image.info if not key.startswith("jfif")} - {"progressive", "progression"}
        # Pillow tells these of every WebP, and transparency is a colour that draws the picture.
        assert left <= {"transparency", "background", "loop", "timestamp", "duration"}, left
        assert getattr(image, "n_frames", 1) == 1
    if data.startswith(b"\xff\xd8") or data[8:12] == b"WEBP":
        read = piexif.load(data)
        assert not any(read.values()), read


@pytest.mark.parametrize("kind", TALKATIVE)
def test_the_files_that_these_tests_send_do_tell_everything(kind):
    data = TALKATIVE[kind]()
    assert b"Ida Ashgrove" in data
    assert made.opened(data).getexif().get_ifd(piexif.ImageIFD.GPSTag)
    if kind == "jpeg":
        assert all(secret in data for secret in made.SECRETS)
        assert piexif.load(data)["GPS"] == made.HERE
        assert piexif.load(data)["thumbnail"]


@pytest.mark.parametrize("kind", TALKATIVE)
def test_no_metadata_is_left_in_the_original_or_in_any_copy(kind):
    data, _kind = original(TALKATIVE[kind]())
    assert_tells_nothing(data)
    copies = store.copies(decoded(check(TALKATIVE[kind]())))
    assert set(copies) == {"320", "1024", "2048"}
    for copy in copies.values():
        assert_tells_nothing(copy)


@pytest.mark.parametrize("kind", ["jpeg", "png", "webp"])
def test_what_must_wait_for_the_job_tells_nothing_either(kind):
    checked = check(TALKATIVE[kind](orientation=6))
    assert not checked.stands
    assert checked.orientation == 6
    assert_tells_nothing(checked.content)


@pytest.mark.parametrize("kind", ["jpeg", "png", "webp"])
def test_a_photo_that_stands_upright_keeps_its_pixels_as_the_camera_wrote_them(kind):
    data = TALKATIVE[kind]()
    checked = check(data)
    assert checked.stands
    assert (codes(made.opened(checked.content)) == codes(made.opened(data))).all()


def test_the_coded_picture_inside_a_jpeg_is_not_touched():
    plain = made.jpeg(progressive=True)
    assert check(made.talkative_jpeg(progressive=True)).content[20:] == plain[plain.index(b"\xff\xdb") :]


@pytest.mark.parametrize("kind", ["jpeg", "png", "webp"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_stands_as_it_was_taken(kind, orientation):
    """Pillow's own exif_transpose of the file as it was sent is the reference."""
    options = {"lossless": True} if kind == "webp" else {}
    data = TALKATIVE[kind](orientation=orientation, **options)
    stored, stored_kind = original(data)
    wanted = codes(ImageOps.exif_transpose(made.opened(data)))
    assert codes(made.opened(stored)).shape == wanted.shape
    assert np.abs(codes(made.opened(stored)) - wanted).mean() < (0 if stored_kind == "png" else 0.8) + 1e-9
    assert codes(made.opened(stored))[5, 5] == pytest.approx(wanted[5, 5], abs=4)


def test_of_a_file_with_several_pictures_the_first_is_kept():
    """Phones hang a second picture (a depth or gain map) on behind; Pillow writes the same as MPO."""
    first = made.picture()
    behind = Image.new("RGB", (640, 480), "red")
    data = made.saved(first, "MPO", save_all=True, append_images=[behind], exif=made.exif_block())
    assert made.opened(data).n_frames == 2
    assert_tells_nothing(check(data).content)
    assert (codes(made.opened(check(data).content)) == codes(made.opened(data))).all()


def test_the_day_a_photo_was_taken_is_read_before_it_is_dropped():
    for kind in TALKATIVE:
        assert str(check(TALKATIVE[kind]()).taken_on) == "2026-05-03"
    assert check(made.jpeg()).taken_on is None
    assert check(made.jpeg(exif=made.exif_block(taken="0000:00:00 00:00:00"))).taken_on is None


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_colours_are_said_in_srgb_by_the_files_own_profile(kind):
    red = Image.new("RGB", (80, 60), (220, 30, 40))
    options = {"lossless": True} if kind == "WEBP" else {}
    data = made.saved(red, kind, icc_profile=made.profile(swapped=True), **options)
    checked = check(data)
    assert not checked.stands
    stored, _kind = original(data)
    assert_tells_nothing(stored)
    assert codes(made.opened(stored))[30, 40] == pytest.approx([40, 30, 220], abs=6)


def test_a_profile_that_says_srgb_is_dropped_and_the_pixels_stay():
    data = made.jpeg(icc_profile=made.profile())
    checked = check(data)
    assert checked.stands
    assert checked.content == check(made.jpeg()).content


def test_a_profile_that_cannot_be_read_is_dropped():
    assert check(made.jpeg(icc_profile=b"no profile at all" * 20)).stands


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_every_kind_of_png_becomes_a_picture_in_colour(mode):
    image = made.picture().convert("L").convert("I").point(lambda code: code * 257)
    image = image.convert("I;16") if mode == "I;16" else made.picture(mode="RGB").convert(mode)
    checked = check(made.saved(image, "PNG"))
    assert checked.stands
    wanted = made.picture().convert("L") if mode == "I;16" else image
    assert (codes(decoded(checked)) == codes(wanted)).all()


def test_what_lets_light_through_is_laid_on_white():
    clear = Image.new("RGBA", (64, 48), (200, 10, 10, 0))
    assert (codes(decoded(check(made.saved(clear, "PNG")))) == 255).all()
    see_through = made.saved(Image.new("P", (64, 48), 0), "PNG", transparency=0)
    assert (codes(decoded(check(see_through))) == 255).all()


def test_a_jpeg_in_printing_colours_becomes_one_that_screens_show():
    data = made.saved(made.picture(mode="CMYK"), "JPEG", quality=95)
    checked = check(data)
    assert not checked.stands
    stored, kind = original(data)
    assert kind == "jpeg"
    assert made.opened(stored).mode == "RGB"
    assert np.abs(codes(made.opened(stored)) - codes(made.picture())).mean() < 3


def test_of_a_moving_png_the_first_frame_is_kept():
    frames = [made.picture(), Image.new("RGB", (640, 480), "red")]
    data = made.saved(frames[0], "PNG", save_all=True, append_images=frames[1:])
    assert made.opened(data).n_frames == 2
    assert_tells_nothing(check(data).content)
    assert (codes(made.opened(check(data).content)) == codes(frames[0])).all()


def test_a_moving_webp_is_refused():
    frames = [made.picture(), Image.new("RGB", (640, 480), "red")]
    with pytest.raises(store.NotAPhoto, match="moves"):
        check(made.saved(frames[0], "WEBP", save_all=True, append_images=frames[1:]))


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "This file is empty"),
        (b"<!DOCTYPE html><html><body>Not found</body></html>", "This is a web page, not a photo"),
        (b"  \n<html><script>alert(1)</script>", "This is a web page, not a photo"),
        (b"%PDF-1.7 ...", "a PDF document"),
        (b"PK\x03\x04 ...", "a ZIP archive"),
        (b"\x00\x00\x00\x1cftypavif\x00\x00\x00\x00avifmif1", "an AVIF picture"),
        (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00isom", "a film"),
        (b"just some words in a file", "This is not a photo, whatever its name says"),
        (b"\xff\xd8\xff", "cut short"),
        (b"\x89PNG\r\n\x1a\n", "cut short"),
        (b"RIFF\x00\x01\x00\x00WEBP", "cut short"),
    ],
)
def test_what_is_no_photo_is_told_so_in_a_sentence(data, sentence):
    with pytest.raises(store.NotAPhoto, match=sentence) as refused:
        check(data)
    assert str(refused.value).endswith(".")


def test_gif_and_tiff_are_not_taken():
    for kind in ("GIF", "TIFF"):
        with pytest.raises(store.NotAPhoto, match="does not take"):
            check(made.saved(made.picture((64, 48)), kind))


@pytest.mark.parametrize(("kind", "file"), [("png", made.talkative_png), ("jpeg", made.jpeg)])
@pytest.mark.parametrize("size", [(60_000, 60_000), (10_001, 6_000), (12_000, 8_000)])
def test_a_picture_of_more_than_60_megapixels_is_refused_by_its_header(kind, file, size):
    with pytest.raises(store.NotAPhoto, match="megapixels"):
        check(made.with_size(file(), kind, *size))


def test_60_megapixels_are_still_taken():
    checked = check(made.with_size(made.jpeg(), "jpeg", 10_000, 6_000))
    assert (checked.width, checked.height) == (10_000, 6_000)


def test_a_heic_of_more_pixels_than_allowed_is_refused():
    with pytest.raises(store.NotAPhoto, match="megapixels"):
        store.check(made.talkative_heic(), max_pixels=640 * 480 - 1)


def test_a_chunk_of_text_that_swells_to_fifty_megabytes_is_dropped_unread():
    text = b"Comment\x00\x00" + zlib.compress(b"x" * 50_000_000)
    data = made.saved(made.picture((64, 48)), "PNG")
    data = data[:33] + made.png_chunk(b"zTXt", text) + data[33:]
    assert_tells_nothing(check(data).content)


@pytest.mark.parametrize("kind", TALKATIVE)
@pytest.mark.parametrize("part", [0.02, 0.2, 0.5, 0.8, 0.97])
def test_a_file_that_is_cut_short_is_refused(kind, part):
    data = {"jpeg": made.jpeg(), "png": made.talkative_png()[:-22]}.get(kind) or TALKATIVE[kind]()
    with pytest.raises(store.NotAPhoto) as refused:
        check(data[: int(len(data) * part)])
    assert str(refused.value).endswith(".")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_damaged_file_is_refused_or_read_but_never_breaks_anything(draw):
    kind = draw.draw(st.sampled_from(sorted(SMALL)))
    data = bytearray(SMALL[kind])
    for _ in range(draw.draw(st.integers(1, 12))):
        data[draw.draw(st.integers(0, len(data) - 1))] = draw.draw(st.integers(0, 255))
    if draw.draw(st.booleans()):
        del data[draw.draw(st.integers(0, len(data) - 1)) :]
    try:
        checked = check(bytes(data))
        picture = decoded(checked)
    except store.NotAPhoto:
        return
    assert picture.mode == "RGB"
    assert_tells_nothing(store.copies(picture)["320"])


SMALL = {
    "jpeg": made.jpeg((64, 48), exif=made.exif_block(thumbnail=False), icc_profile=made.profile()),
    "progressive": made.jpeg((64, 48), progressive=True),
    "png": made.saved(made.picture((64, 48)), "PNG", exif=made.exif_block(thumbnail=False)),
    "webp": made.talkative_webp(made.picture((64, 48))),
    "heic": made.talkative_heic(made.picture((64, 48))),
}


def test_copies_have_the_sizes_they_are_asked_by_and_are_never_larger_than_the_photo():
    sizes = {word: made.opened(data).size for word, data in store.copies(made.picture((3000, 2000))).items()}
    assert sizes == {"320": (320, 213), "1024": (1024, 683), "2048": (2048, 1365)}
    small = {word: made.opened(data).size for word, data in store.copies(made.picture((400, 800))).items()}
    assert small == {"320": (160, 320), "1024": (400, 800), "2048": (400, 800)}


def test_a_jpeg_is_decoded_small_where_small_is_enough():
    data = made.jpeg((4000, 3000))
    assert store.decoded(data, "jpeg", max_pixels=LIMIT, longest=640).size == (1000, 750)
