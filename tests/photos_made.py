"""Picture files for tests, made here: plain ones, and ones whose metadata other libraries have written."""

import io
import zlib

import piexif
import pillow_heif
from PIL import Image, ImageCms, PngImagePlugin

pillow_heif.register_heif_opener()

SECRETS = (b"Ida Ashgrove", b"SN-4711", b"Invented camera works", b"At the back gate", b"54.2095", b"North Vale")
HERE = {
    piexif.GPSIFD.GPSLatitudeRef: b"N",
    piexif.GPSIFD.GPSLatitude: ((54, 1), (12, 1), (34, 1)),
    piexif.GPSIFD.GPSLongitudeRef: b"W",
    piexif.GPSIFD.GPSLongitude: ((2, 1), (7, 1), (8, 1)),
}
# An XMP packet, laid out by hand after part 1 of Adobe's XMP specification (ISO 16684-1).
XMP = (
    b'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">'
    b'<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" '
    b'xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/" '
    b'exif:GPSLatitude="54.2095N" dc:creator="Ida Ashgrove"/></rdf:RDF></x:xmpmeta><?xpacket end="w"?>'
)


def segment(marker, body):
    """A JPEG segment: its length counts its own two bytes (ITU-T T.81, B.1.1.4)."""
    return bytes([0xFF, marker]) + (len(body) + 2).to_bytes(2, "big") + body


def iptc():
    """A Photoshop block with IPTC records 2:80 (by-line) and 2:90 (city), laid out by hand after IIM 4.2."""
    records = b"".join(
        b"\x1c\x02" + bytes([number]) + len(text).to_bytes(2, "big") + text
        for number, text in ((80, b"Ida Ashgrove"), (90, b"North Vale"))
    )
    return b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + len(records).to_bytes(4, "big") + records + b"\x00"


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


def opened(data):
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


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
    return saved(picture(size), "JPEG", **{"quality": 90} | options)


def talkative_jpeg(orientation=1, **options):
    """A JPEG that tells everything in every way: EXIF with GPS and thumbnail, XMP, IPTC, comment, JFIF thumbnail
    and extension, an unknown segment, a second picture and a film behind its end."""
    data = jpeg(exif=exif_block(orientation), **options)
    extra = b"".join(
        (
            segment(0xE1, b"http://ns.adobe.com/xap/1.0/\x00" + XMP),
            segment(0xED, iptc()),
            segment(0xFE, b"At the back gate, 54.2095 N"),
            segment(0xE0, b"JFXX\x00\x10" + jpeg((64, 48), exif=exif_block())),
            segment(0xEB, b"SN-4711 in a segment that nobody knows"),
            segment(0xE2, b"FPXR\x00SN-4711"),
        )
    )
    behind = jpeg((320, 240), exif=exif_block()) + b"\x00\x00\x00\x18ftypmp42 Ida Ashgrove"
    return data[:2] + extra + data[2:] + behind


def png_chunk(name, body):
    return len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")


def talkative_png(image=None, orientation=1):
    """A PNG with EXIF, text of all three kinds, XMP and a time."""
    words = PngImagePlugin.PngInfo()
    words.add_text("Author", "Ida Ashgrove")
    words.add_text("Place", "At the back gate " * 9, zip=True)
    words.add_itxt("XML:com.adobe.xmp", XMP.decode())
    words.add(b"tIME", b"\x07\xea\x05\x03\x0a\x0b\x0c")
    data = saved(image or picture(), "PNG", pnginfo=words, exif=exif_block(orientation))
    return data + b"SN-4711 behind the end"


def talkative_webp(image=None, orientation=1, **options):
    """A WebP with EXIF and XMP."""
    given = {"exif": exif_block(orientation), "xmp": XMP, "quality": 90} | options
    return saved(image or picture(), "WEBP", **given)


def talkative_heic(image=None):
    """A HEIC, coded by libheif, with EXIF and XMP."""
    return saved(image or picture(), "HEIF", quality=90, exif=exif_block(), xmp=XMP)


def profile(swapped=False):
    """An sRGB profile; `swapped` exchanges its red and blue, so that a red code means blue."""
    data = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    if swapped:
        data = data.replace(b"rXYZ", b"tXYZ").replace(b"bXYZ", b"rXYZ").replace(b"tXYZ", b"bXYZ")
    return data


def with_size(data, kind, width, height):
    """The file with another size written in its header; nothing of that size stands behind it."""
    if kind == "png":
        header = width.to_bytes(4, "big") + height.to_bytes(4, "big") + data[24:29]
        return data[:8] + png_chunk(b"IHDR", header) + data[33:]
    at = data.index(b"\xff\xc0") + 5
    return data[:at] + height.to_bytes(2, "big") + width.to_bytes(2, "big") + data[at + 4 :]


def ready_photo(animal, **given):
    """A photo as it is after its job: its original and copies lie in the photo store."""
    from grading import photo_files as files
    from grading.photo_store import copies

    from .factories import make_photo

    data = jpeg((80, 60))
    photo = make_photo(animal, **{"state": "ready", "width": 80, "height": 60, "bytes": len(data)} | given)
    photo.original = files.keep(files.original_name(photo.key, "jpeg"), data)
    photo.save(update_fields=["original"])
    for size, content in copies(picture((80, 60))).items():
        files.keep(photo.sized_path(size), content)
    return photo


def pictured_step(profile, trait):
    """A described step of the trait with its picture."""
    import pgtrigger
    from django.core.files.base import ContentFile

    from grading.models import ProfileTrait, StepText

    with pgtrigger.ignore("grading.ProfileTrait:kept_once_published", "grading.StepText:kept_once_published"):
        row = ProfileTrait.objects.get_or_create(profile=profile, trait=trait)[0]
        text = StepText(trait=row, step=7, words="bright silver")
        text.picture.save("step.jpg", ContentFile(jpeg((80, 60))), save=False)
        text.save()
    return text
