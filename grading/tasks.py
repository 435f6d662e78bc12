"""Background jobs of grading. Each takes keys, and may safely run twice."""

from collections import Counter
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.utils import timezone
from django_tasks import task

from . import photo_files as files
from . import photo_store as store
from .models import Photo, PhotoState

STUCK_AFTER = timedelta(minutes=15)
MOST_FAILURES = 3
FILE_IS_GONE = "The file of this photo is gone from the photo store. Send the photo again."


@task(queue_name="photos")
def prepare_photo(key: str) -> str:
    """Make a photo's original and sized copies; returns the state it has afterwards.

    What an interrupted run left is written over. Only the last step, one UPDATE, shows the photo to anybody.
    """
    photo = Photo.objects.filter(key=UUID(key)).first()
    if photo is None or photo.state != PhotoState.WAITING:
        return photo.state if photo else "gone"
    try:
        _prepare(photo)
    except store.NotAPhoto as why:
        refuse(photo, str(why))
    except FileNotFoundError:
        refuse(photo, FILE_IS_GONE)
    enqueue_stuck()
    return photo.state


def _prepare(photo):
    arrived = photo.original.name
    data, kind = files.read(arrived), files.kind_of(arrived)
    limit = settings.PHOTO_MAX_PIXELS
    if files.is_arriving(arrived):
        picture = store.decoded(data, kind, orientation=files.turned_by(arrived), max_pixels=limit)
        width, height = picture.size
        data, kind = store.as_original(picture, kind)
        original = files.keep(files.original_name(photo.key, kind), data)
    else:
        width, height, _mode, _exif = store.header(data, kind, limit)
        picture = store.decoded(data, kind, max_pixels=limit, longest=max(store.SIZES.values()))
        original = arrived
    for size, content in store.copies(picture).items():
        files.keep(photo.sized_path(size), content)
    photo.state, photo.original = PhotoState.READY, original
    photo.width, photo.height, photo.bytes = width, height, len(data)
    _save(photo, "original", "width", "height", "bytes")
    if arrived != original:
        files.remove(arrived)


def refuse(photo, problem):
    """Say why the photo could not be read, and leave nothing of it in the photo store."""
    names = files.all_names(photo)
    photo.state, photo.problem, photo.original = PhotoState.REFUSED, problem, ""
    _save(photo, "problem", "original")
    files.remove(*names)


def _save(photo, *fields):
    values = {field: getattr(photo, field) for field in ("state", *fields)}
    Photo.objects.filter(pk=photo.pk, state=PhotoState.WAITING).update(**values)


def enqueue_stuck():
    """Put photos whose job was lost back into the queue; returns how many.

    Those whose job failed time after time are left alone: one photo that is too much for this machine must not keep
    all others waiting.
    """
    lost = waiting_photos_without_job(older_than=STUCK_AFTER)
    for key in lost:
        prepare_photo.enqueue(key=key)
    return len(lost)


def waiting_photos_without_job(*, older_than, even_if_failed=False):
    """Keys of waiting photos that no job in the queue will prepare."""
    from django_tasks_db.models import DBTaskResult

    photos = Photo.objects.filter(state=PhotoState.WAITING, uploaded_at__lte=timezone.now() - older_than)
    waiting = [str(key) for key in photos.order_by("pk").values_list("key", flat=True)[:1000]]
    if not waiting:
        return []
    unfinished = DBTaskResult.objects.filter(
        task_path=prepare_photo.module_path, status__in=("READY", "RUNNING", "FAILED")
    )
    jobs = Counter(
        (sent["kwargs"].get("key"), status) for sent, status in unfinished.values_list("args_kwargs", "status")
    )
    lost = [key for key in waiting if not (jobs[key, "READY"] or jobs[key, "RUNNING"])]
    return [key for key in lost if even_if_failed or jobs[key, "FAILED"] < MOST_FAILURES]


@task(queue_name="evaluation")
def evaluate(run: int) -> str:
    """Carry out a run of the mixed model; a run whose worker was killed is done again from the start."""
    from .actions.evaluations import carry_out
    from .models import EvaluationRun

    found = EvaluationRun.objects.select_related("breed", "only").filter(pk=run).first()
    return carry_out(run=found).state if found else "gone"


@task
def renew_standing(name: str, breed_id: int) -> str:
    """Work out one of the club-wide figures that grading/standing.py keeps."""
    from .years import renew

    renew(name, breed_id)
    return name


@task
def work_out_calibration(of_set: int) -> str:
    """Work out a calibration set whose window is closed."""
    from .actions.calibration import work_out
    from .models import CalibrationSet

    found = CalibrationSet.objects.filter(pk=of_set).first()
    return work_out(of_set=found).state if found else "gone"


@task
def send_review_news(member: int) -> int:
    """Send a member one letter for all news of reviews that no letter told of yet; returns how many it told of."""
    from .review_letters import send_news

    return send_news(member)


@task
def send_calibration_news(member: int) -> int:
    """Send a member one letter for all news of calibration sets that no letter told of yet; how many it told of."""
    from .calibrating.letters import send_news

    return send_news(member)


@task
def send_season_news(member: int) -> int:
    """Send a member one letter for all news of seasons' plans of an hour; returns how many it told of."""
    from .barn.letters import send_news

    return send_news(member)
