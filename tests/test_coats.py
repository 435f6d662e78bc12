"""The drawn photographs follow the steps they are drawn from, measured by a conversion of our own here."""

import io
import itertools

import numpy as np
import piexif
import pytest
from PIL import Image

from fixtures import coats
from grading.models import Light
from grading.models.photo import View
from herds.models.breeding import WhitePlace

SMALL = (600, 450)

# sRGB and CIELAB (D65, 2 degrees), computed from IEC 61966-2-1; three independent implementations agree within 0.03.
ANCHORS = [
    ((255, 255, 255), (100.0, 0.0, 0.0)),
    ((0, 0, 0), (0.0, 0.0, 0.0)),
    ((255, 0, 0), (53.23, 80.11, 67.22)),
    ((0, 0, 255), (32.30, 79.19, -107.85)),
    ((119, 119, 119), (50.03, 0.0, 0.0)),
    ((176, 180, 186), (73.17, -0.24, -3.53)),
    ((196, 190, 178), (77.15, 0.0, 6.80)),
    ((62, 66, 74), (27.89, 0.29, -5.40)),
    ((230, 226, 216), (89.94, -0.38, 5.36)),
]


def mean_lab(codes):
    """CIELAB of the mean in linear light of sRGB codes, shape (..., 3); matrix of IEC 61966-2-1."""
    codes = np.asarray(codes, dtype=np.float64).reshape(-1, 3) / 255.0
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4).mean(axis=0)
    matrix = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    ratio = np.array(matrix) @ linear / [0.95047, 1.0, 1.08883]
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def inside(picture, box):
    """The codes in a box given in fractions of the frame."""
    width, height = picture.size
    left, top, right, bottom = (round(v * side) for v, side in zip(box, (width, height) * 2, strict=True))
    return np.asarray(picture)[top:bottom, left:right]


def drawn(view="left_side", **steps):
    """A small picture of a middling coat, with the steps that matter changed."""
    return coats.draw(view, **{"surface": 7, "undercolor": 7, "reach": 8, "seed": 11, "size": SMALL, **steps})


def region(view, name, **steps):
    return mean_lab(inside(drawn(view, **steps), coats.REGIONS[view][name]))


def rises(values):
    return all(later > earlier for earlier, later in itertools.pairwise(values))


@pytest.mark.parametrize(("code", "lab"), ANCHORS)
def test_the_tests_own_conversion_meets_the_published_anchors(code, lab):
    assert mean_lab([code]) == pytest.approx(lab, abs=0.03)


@pytest.mark.parametrize(("code", "lab"), ANCHORS)
def test_the_colours_drawn_with_meet_the_published_anchors(code, lab):
    from fixtures.coats.colour import srgb

    assert srgb(*lab) == pytest.approx(code, abs=1)


@pytest.mark.slow
@pytest.mark.parametrize("view", ["left_side", "right_side"])
@pytest.mark.parametrize("undercolor", [3, 9])
def test_the_body_is_lighter_with_every_step_of_surface_shade(view, undercolor):
    assert rises([region(view, "body", surface=step, undercolor=undercolor)[0] for step in range(1, 10)])


@pytest.mark.slow
def test_the_first_and_last_surface_steps_are_nearly_black_and_nearly_white():
    assert region("left_side", "body", surface=1)[0] < 20
    assert region("left_side", "body", surface=9)[0] > 80


@pytest.mark.slow
@pytest.mark.parametrize("view", ["parted_loin", "parted_rump"])
def test_the_band_is_darker_with_every_step_of_undercolor(view):
    assert rises([-region(view, "band", undercolor=step)[0] for step in range(1, 10)])


@pytest.mark.slow
def test_the_parted_coat_shows_the_surface_step_outside_the_parting():
    beyond = [mean_lab(inside(drawn("parted_loin", surface=step), (0.3, 0.08, 0.7, 0.17)))[0] for step in range(1, 10)]
    assert rises(beyond)


@pytest.mark.slow
def test_the_dark_of_the_undercolor_goes_as_deep_as_its_reach():
    """Half-way between band and base stands deeper with each tenth, and at ten tenths the base is the band."""
    depths = []
    for reach in range(2, 10):
        picture = drawn("parted_loin", undercolor=8, reach=reach)
        # Lightness by depth from the tips (0) to just short of the skin line in the middle of the frame.
        heights = np.linspace(0.5 - 0.29 * 0.78, 0.5 - 0.29 * 0.05, 40)
        light = [mean_lab(inside(picture, (0.42, at - 0.004, 0.58, at + 0.004)))[0] for at in heights]
        faded = np.flatnonzero(np.array(light) > (min(light) + 66) / 2)
        depths.append(faded[faded > int(np.argmin(light))][0] if reach < 9 else len(light))
    assert rises(depths)
    base = [region("parted_loin", "base", undercolor=8, reach=reach)[0] for reach in (4, 8, 9, 10)]
    assert rises([-value for value in base])
    assert base[-1] - region("parted_loin", "band", undercolor=8, reach=10)[0] < 6  # dark to the skin: at most 6 L*


@pytest.mark.slow
@pytest.mark.parametrize("surface", [4, 7, 9])
def test_the_cast_moves_the_coat_from_blue_to_cream(surface):
    yellow = [region("left_side", "body", surface=surface, cast=step)[2] for step in range(1, 10)]
    assert rises(yellow)
    assert yellow[0] < -3
    assert yellow[-1] > 5


@pytest.mark.slow
def test_head_contrast_moves_muzzle_ear_and_foot_and_leaves_the_body():
    for name in ("muzzle", "ear", "foot"):
        assert rises([-region("left_side", name, head_contrast=step)[0] for step in (1, 3, 5, 7, 9)])
    body = [region("left_side", "body", head_contrast=step)[0] for step in (1, 9)]
    assert abs(body[0] - body[1]) < 2


@pytest.mark.slow
def test_more_and_blacker_guard_hair_darkens_more_of_the_coat():
    def dark_share(**steps):
        codes = np.asarray(coats.swatch(9, **steps).convert("L"))
        return float((codes < 130).mean())

    assert rises([dark_share(guard_amount=step, jetness=9) for step in (1, 5, 9)])
    assert rises([dark_share(guard_amount=7, jetness=step) for step in (1, 5, 9)])


@pytest.mark.slow
def test_an_uneven_coat_differs_more_from_place_to_place():
    def spread(evenness):
        tiles = [
            mean_lab(inside(drawn(evenness=evenness), (left, top, left + 0.06, top + 0.06)))[0]
            for left, top in itertools.product((0.44, 0.52, 0.60, 0.68), (0.42, 0.50, 0.58))
        ]
        return float(np.std(tiles))

    assert spread(1) > 2 * spread(9)


@pytest.mark.slow
def test_a_white_spot_is_seen_where_it_was_asked_for():
    spot = (0.52, 0.605, 0.545, 0.64)
    plain, spotted = drawn(surface=5), drawn(surface=5, white_spots=("body",))
    assert mean_lab(inside(spotted, spot))[0] > mean_lab(inside(plain, spot))[0] + 20


@pytest.mark.slow
@pytest.mark.parametrize("view", coats.VIEWS)
def test_each_view_is_the_same_for_a_seed_and_another_for_another(view):
    def pixels(seed):
        return drawn(view, seed=seed, size=(240, 180), mark="AX 27").tobytes()

    assert pixels(1) == pixels(1)
    assert pixels(1) != pixels(2)


@pytest.mark.slow
def test_the_mark_changes_the_ear_and_nothing_else_of_the_picture():
    marked, plain = (np.asarray(drawn("ear_mark", mark=mark)).astype(int) for mark in ("AX 27", ""))
    differs = np.abs(marked - plain).max(axis=2) > 0
    assert differs.any()
    rows, columns = np.nonzero(differs)
    assert rows.min() > 0.35 * 450
    assert rows.max() < 0.65 * 450
    assert columns.min() > 0.15 * 600
    assert columns.max() < 0.8 * 600


@pytest.mark.slow
@pytest.mark.parametrize("light", coats.LIGHTS)
def test_the_grey_card_tells_the_light_so_that_the_coat_can_be_read(light):
    """Gain per linear channel is the card's reference over the card's reading."""

    def linear(codes):
        codes = np.asarray(codes, dtype=np.float64).reshape(-1, 3) / 255.0
        return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4).mean(axis=0)

    picture = drawn(surface=6, light=light, reference_card=True)
    patch = coats.card_patches()[1]
    gain = linear([[coats.CARD_GREYS[1]] * 3]) / linear(inside(picture, patch))
    corrected = linear(inside(picture, coats.REGIONS["left_side"]["body"])) * gain
    code = 255 * (1.055 * corrected ** (1 / 2.4) - 0.055)
    assert mean_lab([code]) == pytest.approx(region("left_side", "body", surface=6), abs=1.5)


@pytest.mark.slow
def test_a_junior_is_drawn_smaller_than_a_senior():
    def height(age_class):
        codes = np.asarray(drawn("rear", age_class=age_class, surface=2, seed=5).convert("L")).astype(int)
        return int((codes[:, 300] < 90).sum())

    assert height("junior") < height("intermediate") < height("senior")


def test_views_lights_and_places_are_those_of_the_registry():
    assert set(coats.VIEWS) == set(View.values) - {View.OTHER}
    assert set(coats.LIGHTS) == set(Light.values)
    assert set(WhitePlace.values) - {WhitePlace.NONE} <= set(coats.WHITE_SPOT_PLACES)


@pytest.mark.parametrize(
    "wrong", [{"view": "underneath"}, {"light": "moon"}, {"age_class": "kit"}, {"white_spots": ("elbow",)}]
)
def test_what_cannot_be_drawn_is_refused_with_the_choices(wrong):
    with pytest.raises(ValueError, match=r"Choose one of: .*\.$"):
        drawn(**wrong)


@pytest.mark.slow
def test_the_jpeg_helper_keeps_the_metadata_it_is_given_and_adds_none():
    picture = drawn(size=(240, 180))
    place = piexif.dump({"GPS": {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((50, 1),) * 3}})
    with_place = coats.jpeg_bytes(picture, exif=place)
    assert piexif.load(with_place)["GPS"][piexif.GPSIFD.GPSLatitudeRef] == b"N"
    assert not Image.open(io.BytesIO(coats.jpeg_bytes(picture))).getexif()
    assert len(coats.jpeg_bytes(picture, quality=40)) < len(coats.jpeg_bytes(picture, quality=90))


@pytest.mark.slow
def test_step_pictures_have_the_size_of_their_place_and_follow_the_step():
    assert rises([mean_lab(coats.swatch(step))[0] for step in (1, 3, 5, 7, 9)])
    middle = (0.35, 0.34, 0.65, 0.41)
    bands = [mean_lab(inside(coats.parted_swatch(step, 9), middle))[0] for step in (1, 3, 5, 7, 9)]
    assert rises([-value for value in bands])
    assert {coats.swatch(5).size, coats.parted_swatch(5, 5).size, coats.animal_swatch().size} == {(240, 160)}


@pytest.mark.slow
def test_the_contact_sheet_is_written_by_its_command(tmp_path, capsys):
    from fixtures.coats.__main__ import main

    assert main([]) == 2
    assert main([str(tmp_path / "sheet.jpg")]) == 0
    with Image.open(tmp_path / "sheet.jpg") as sheet:
        assert sheet.format == "JPEG"
    assert "Wrote the contact sheet" in capsys.readouterr().out
