"""What grading adds to a member's own data: looks of their herds and by their hand, points, photos."""

from django.core.files.storage import default_storage
from django.db.models import Q

from clubsite.members.places import Attachments, DataFile, register
from grading.models import Answer, Look, LookFinding, Photo, PointsLine, Review, ReviewAnimal, SeasonItem
from herds.models import Herd

CHUNK = 2000


def looks_of(member):
    """Looks of animals in the member's herds, and looks that the member made of others' animals.

    Those of animals that they still grade blind wait until they have: a look would name the animal.
    """
    blind = ReviewAnimal.objects.filter(review__in=Review.objects.for_mentor(member).open(), graded_at__isnull=True)
    own = Q(observer=member.pk) & ~Q(animal__in=blind.values("animal"))
    return Look.objects.filter(Q(animal__herd__in=Herd.objects.kept_by(member)) | own)


def looks(member):
    rows = looks_of(member).select_related("animal", "observer", "profile", "age_class").order_by("pk")
    for row in rows.iterator(chunk_size=CHUNK):
        yield [
            row.pk, row.animal_id, str(row.animal), row.observer.name, row.observed_on, row.get_mode_display(),
            row.get_role_display(), row.trained, row.get_light_display(), row.age_days,
            row.age_class and row.age_class.name, row.get_coat_stage_display(), row.provisional, row.grams,
            row.surface, row.undercolor, row.reach, str(row.profile), row.finished_at,
            row.supersedes_id, row.reason, row.note,
        ]  # fmt: skip


def answers(member):
    rows = Answer.objects.filter(look__in=looks_of(member).values("pk")).select_related("trait").order_by("look", "pk")
    for row in rows.iterator(chunk_size=CHUNK):
        yield [row.look_id, row.trait.code, row.trait.name, row.site, "cannot tell" if row.cannot_tell else row.step]


def findings(member):
    rows = (
        LookFinding.objects.filter(look__in=looks_of(member).values("pk")).select_related("kind").order_by("look", "pk")
    )
    for row in rows.iterator(chunk_size=CHUNK):
        yield [row.look_id, row.kind.name, row.get_state_display(), row.place, row.note]


def points(member):
    rows = PointsLine.objects.filter(sheet__look__in=looks_of(member).values("pk")).select_related("position")
    for row in rows.order_by("sheet", "pk").iterator(chunk_size=CHUNK):
        yield [row.sheet_id, row.position.name, row.position.points, row.points, row.note]


def photos_of(member):
    """Photos of the member's herds, and those they sent of others' animals."""
    own = Q(animal__herd__in=Herd.objects.kept_by(member)) | Q(uploaded_by=member.pk)
    return Photo.objects.filter(own).select_related("animal").order_by("pk")


def photos(member):
    for row in photos_of(member).iterator(chunk_size=CHUNK):
        yield [
            str(row.key), row.animal_id, str(row.animal), row.get_view_display(), row.taken_on, row.age_days,
            row.get_light_display(), row.get_reference_display(), row.caption, row.get_state_display(),
            row.withdrawn_at, file_name(row),
        ]  # fmt: skip


def file_name(photo):
    """The photo's name in the ZIP: by animal and day, so that a person finds it."""
    ending = photo.original.name.rsplit(".", 1)[-1] if "." in photo.original.name else "jpg"
    mark = "".join(letter for letter in photo.animal.mark_text if letter.isalnum()) or "animal"
    return f"{mark}-{photo.animal_id}/{photo.taken_on:%Y-%m-%d}-{photo.view}-{photo.key.hex[:8]}.{ending}"


def photo_files(member):
    """Originals that are ready, without metadata, as they are kept; one that is gone from the store is left out."""
    for photo in photos_of(member).filter(state="ready").iterator(chunk_size=200):
        if photo.original and default_storage.exists(photo.original.name):
            yield file_name(photo), photo.original.open("rb")


def season(member):
    """What was proposed to the member's herds for a season, and what they proposed to others'."""
    theirs = Q(herd__in=Herd.objects.kept_by(member)) | Q(written_by=member.pk)
    for row in SeasonItem.objects.filter(theirs).select_related("herd", "animal", "buck", "written_by").order_by("pk"):
        yield [
            str(row.herd), row.season, str(row), row.why, row.written_by.name, row.written_at,
            row.get_state_display(), row.answer, row.answered_at,
        ]  # fmt: skip


FILES = (
    ("looks", "looks at animals of your herds, and those you made.", (
        "look", "animal", "mark and name", "observer", "day", "how", "part", "trained", "light", "age in days",
        "age class", "coat stage", "provisional", "grams", "surface shade", "undercolor", "undercolor reach",
        "schedule", "finished", "supersedes look", "why", "note"), looks),
    ("answers", "the steps given in those looks.", ("look", "trait", "trait in words", "place", "step"), answers),
    ("findings", "what was seen, not seen or not checked in them.",
        ("look", "finding", "state", "place", "note"), findings),
    ("points", "points given beside them.", ("look", "position", "of", "points", "note"), points),
    ("photos", "photographs of your animals, and those you sent.", (
        "photo", "animal", "mark and name", "view", "day", "age in days", "light", "reference", "caption", "state",
        "withdrawn", "file"), photos),
    ("season", "what mentors proposed for a season of your herds, and what you proposed to others.", (
        "herd", "season", "what", "why", "by", "day", "state", "answer", "answered"), season),
)  # fmt: skip


def register_parts():
    """Called once when the app is ready."""
    for order, (name, about, columns, rows) in enumerate(FILES, 40):
        register(DataFile(name, about, order, columns, rows))
    register(Attachments("photographs", "the photographs themselves, as they are kept here.", 50, photo_files))
