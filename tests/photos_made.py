"""Picture files for tests, made here: plain ones, and ones whose metadata other libraries have written."""

import io

import piexif
from PIL import Image

HERE = {
    piexif.GPSIFD.GPSLatitudeRef: b"N",
    piexif.GPSIFD.GPSLatitude: ((54, 1), (12, 1), (34, 1)),
    piexif.GPSIFD.GPSLongitudeRef: b"W",
    piexif.GPSIFD.GPSLongitude: ((2, 1), (7, 1), (8, 1)),
}


def picture(size=(640, 480), mode="RGB"):
    """A picture with structure: a slope in each channel and a dark square in its upper left corner."""
    slope = Image.linear_gradient("L").resize(size)
    bands = [slope, slope.transpose(Image.Transpose.ROTATE_180), slope.transpose(Image.Transpose.FLIP_TOP_BOTTOM)]
    made = Image.merge("RGB", [band.resize(size) for band in bands])
    made.paste((10, 20, 30), (0, 0, size[0] // 8, size[1] // 8))
    return made.convert(mode)


def saved(image, kind="JPEG", **options):
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def exif_block(orientation=1, taken="2026:05:03 10:11:12", thumbnail=True):
    """An EXIF block as piexif writes it: camera, serial number, owner, position, time, thumbnail."""
    blocks = {
        "0th": {
            piexif.ImageIFD.Make: b"Invented camera works",
            piexif.ImageIFD.Artist: b"Ida Ashgrove",
            piexif.ImageIFD.Orientation: orientation,
        },
        "Exif": {piexif.ExifIFD.DateTimeOriginal: taken.encode(), piexif.ExifIFD.BodySerialNumber: b"SN-4711"},
        "GPS": HERE,
    }
    if thumbnail:
        blocks["1st"] = {piexif.ImageIFD.Make: b"Invented camera works"}
        blocks["thumbnail"] = saved(picture((160, 120)))
    return piexif.dump(blocks)


def jpeg(size=(640, 480), **options):
    return saved(picture(size), "JPEG", quality=90, **options)
