"""Writing photos: take in, change what is said about one, withdraw, restore."""

from dataclasses import dataclass
from datetime import date
from uuid import uuid4

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from clubsite.versions import StalePage
from grading import photo_files as files
from grading import photo_store as store
from grading.actions.reviews import photo_came
from grading.models import Look, Photo, PhotoState
from grading.tasks import prepare_photo
from herds.models import Animal
from herds.words import day_words

ALREADY_USED = "This photo's key was used for another photo. Choose the photo again."


@dataclass
class Taken:
    """What became of a file: the photo, whether it is new, and the day its own metadata told (None: none)."""

    photo: Photo
    new: bool
    told_day: date | None = None


def add_photo(
    *, animal, file, view, by, taken_on=None, light="", reference="none", caption="", look=None, client_key=None
):  # fmt: skip
    """Store one photo without its metadata and have its copies made. Raises ValidationError.

    file : a Django File. The same `client_key`, or the same file for the same animal, is stored once and answered
    twice. Without `taken_on` the day is the one the file tells, else today.
    """
    _refuse_others(animal, by)
    earlier = _sent_before(client_key, animal, by)
    data = _bytes_of(file)
    fingerprint = files.fingerprint(data)
    earlier = earlier or _stored_before(animal, fingerprint)
    try:
        checked = store.check(data, max_pixels=settings.PHOTO_MAX_PIXELS)
    except store.NotAPhoto as why:
        raise ValidationError({"photos": str(why)}) from why
    told_day = _possible(checked.taken_on, animal)
    if earlier:
        return Taken(earlier, False, told_day)
    day = taken_on or told_day or timezone.localdate()
    _refuse_day(animal, day)
    photo = Photo(
        key=uuid4(), animal=animal, look=_look_for(look, animal, day, by), view=view, taken_on=day,
        age_days=animal.age_days(day), light=light, reference=reference, caption=caption.strip(),
        checksum=fingerprint, bytes=len(checked.content), client_key=client_key, uploaded_by=by,
    )  # fmt: skip
    place = files.original_name(photo.key, checked.kind) if checked.stands else files.arriving_name(photo.key, checked)
    photo.original = files.keep(place, checked.content)
    try:
        with rules_explained():
            photo.save(force_insert=True)
            # The queue lies in the same database: the job is seen when, and only if, the photo is.
            prepare_photo.enqueue(key=str(photo.key))
            photo_came(photo=photo, by=by)
    except ValidationError:
        files.remove(place)
        # Two sendings that arrive together: the other one was first.
        if earlier := _sent_before(client_key, animal, by) or _stored_before(animal, fingerprint):
            return Taken(earlier, False, told_day)
        raise
    except BaseException:
        files.remove(place)
        raise
    return Taken(photo, True, told_day)


EDITABLE = ("view", "taken_on", "light", "reference", "caption")


def edit_photo(*, photo, view, taken_on, by, light="", reference="none", caption="", seen=""):
    """Change what is said about a photo; the picture itself is never changed. Raises ValidationError.

    seen : `version_of` the photo as the person saw it; when somebody changed it since, nothing is saved.
    """
    _refuse_others(photo.animal, by)
    _refuse_day(photo.animal, taken_on)
    with rules_explained():
        now = Photo.objects.select_for_update().get(pk=photo.pk)
        if seen and seen != version_of(now):
            raise StalePage(
                f"What is said about this photo of {photo.animal} was changed by somebody else after you opened this "
                "page. What you typed is still here: compare it with the photo's facts, then save again."
            )
        if now.taken_on != taken_on:
            photo.look = look_of_day(photo.animal, taken_on, photo.uploaded_by)
        photo.view, photo.taken_on, photo.light, photo.reference = view, taken_on, light, reference
        photo.caption, photo.age_days = caption.strip(), photo.animal.age_days(taken_on)
        photo.save(update_fields=[*EDITABLE, "age_days", "look"])
        if now.view != view:
            photo_came(photo=photo, by=by)
    return photo


def version_of(photo):
    """A short text that changes with anything that may be said about a photo."""
    return files.fingerprint("\0".join(str(getattr(photo, name)) for name in EDITABLE).encode())[:16]


def withdraw_photo(*, photo, by):
    """Take a photo out of sight of everybody but its keepers; it can be restored."""
    _refuse_others(photo.animal, by)
    Photo.objects.filter(pk=photo.pk, withdrawn_at__isnull=True).update(withdrawn_at=timezone.now())
    photo.refresh_from_db(fields=["withdrawn_at"])
    return photo


def restore_photo(*, photo, by):
    """Undo a withdrawal. Raises ValidationError when the same photo was sent again meanwhile."""
    _refuse_others(photo.animal, by)
    with rules_explained():
        Photo.objects.filter(pk=photo.pk).update(withdrawn_at=None)
    photo.refresh_from_db(fields=["withdrawn_at"])
    return photo


def dismiss_photo(*, photo, by):
    """Forget a photo that could not be read; nothing of it is stored but the reason."""
    _refuse_others(photo.animal, by)
    Photo.objects.filter(pk=photo.pk, state=PhotoState.REFUSED).delete()


def prepare_again(*, photo, by):
    """Put a photo whose copies were not made back into the queue."""
    _refuse_others(photo.animal, by)
    if photo.state == PhotoState.WAITING:
        prepare_photo.enqueue(key=str(photo.key))


def _look_for(look, animal, day, by):
    """The look a photo belongs to: the one it was sent from if that was the day, else the member's own of the day."""
    return look if look and look.observed_on == day else look_of_day(animal, day, by)


def look_of_day(animal, day, member):
    """The member's look of the animal on that day, to which its photos belong; None without one."""
    return Look.objects.filter(animal=animal, observer=member, observed_on=day).order_by("-pk").first()


def _refuse_others(animal, by):
    if not Animal.objects.editable_by(by).filter(pk=animal.pk).exists():
        raise NotYours


def _refuse_day(animal, day):
    if day > timezone.localdate():
        raise ValidationError({"taken_on": "This day lies in the future. Choose today or an earlier day."})
    if animal.born_on and day < animal.born_on:
        raise ValidationError(
            {"taken_on": f"{animal} was born on {day_words(animal.born_on)}. Choose that day or a later one."}
        )


def _possible(day, animal):
    """The day, if a photo of the animal can have been taken on it."""
    if day is None or day > timezone.localdate() or (animal.born_on and day < animal.born_on):
        return None
    return day


def _bytes_of(file):
    if file.size > settings.PHOTO_MAX_BYTES:
        raise ValidationError({"photos": too_large()})
    return file.read()


def most_words():
    """The most bytes of a file, in words: '40 MB'."""
    return f"{settings.PHOTO_MAX_BYTES // 2**20} MB"


def too_large():
    """The sentence for a file of more bytes than are taken."""
    return f"This file is larger than {most_words()}. Choose a smaller size in the camera's settings and send that."


def _sent_before(client_key, animal, by):
    """The photo that an earlier sending with the same key stored."""
    earlier = Photo.objects.filter(client_key=client_key).first() if client_key else None
    if earlier and (earlier.animal_id != animal.pk or earlier.uploaded_by_id != by.pk):
        raise ValidationError({"photos": ALREADY_USED})
    return earlier


def _stored_before(animal, fingerprint):
    """The same file of the same animal. One that could not be read makes room for another try."""
    same = Photo.objects.filter(animal=animal, checksum=fingerprint, withdrawn_at__isnull=True)
    same.filter(state=PhotoState.REFUSED).delete()
    return same.first()
