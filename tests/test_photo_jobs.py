"""The job that prepares a photo, what becomes of an interrupted one, and what tidying finds."""

import os
from datetime import timedelta
from io import BytesIO

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult
from PIL import Image

from clubsite.storage import ARRIVING
from grading import photo_files as files
from grading import tasks
from grading.actions import photos as actions
from grading.models import Photo

from . import photos_made as made
from .photo_sending import prepared, send

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper(cast):
    return cast.client_of("keeper")


def jobs():
    return DBTaskResult.objects.filter(task_path=tasks.prepare_photo.module_path)


def damaged():
    """A JPEG whose header and end are right, and whose coded middle is not a picture."""
    data = bytearray(made.saved(made.picture((640, 480)), "PNG"))
    middle = data.index(b"IDAT") + 40
    data[middle : middle + 400] = bytes(400)
    length = int.from_bytes(data[data.index(b"IDAT") - 4 : data.index(b"IDAT")], "big")
    at = data.index(b"IDAT")
    return (
        bytes(data[: at - 4])
        + made.png_chunk(b"IDAT", bytes(data[at + 4 : at + 4 + length]))
        + made.png_chunk(b"IEND", b"")
    )


def waiting_photo(cast, keeper, data=None):
    send(keeper, cast.daughter, data or made.jpeg())
    return Photo.objects.latest("pk")


def file_names(photo):
    folder = files.folder_of(photo.key)
    return sorted(default_storage.listdir(folder)[1]) if default_storage.exists(folder) else []


# --- the job --------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_the_sites_own_worker_prepares_a_photo(cast, keeper, monkeypatch):
    monkeypatch.setattr("clubsite.management.commands.run_jobs.end_with_parent", lambda **_: None)
    monkeypatch.setattr("django_tasks_db.management.commands.db_worker.Worker.configure_signals", lambda _: None)
    photo = waiting_photo(cast, keeper, made.talkative_heic())
    assert jobs().get().queue_name == "photos"
    call_command("run_jobs", batch=True)
    photo.refresh_from_db()
    assert photo.state == "ready"
    assert file_names(photo) == ["1024.jpg", "2048.jpg", "320.jpg", "original.jpg"]


def test_a_job_that_runs_twice_changes_nothing(cast, keeper):
    photo = prepared(waiting_photo(cast, keeper))
    before = {name: files.read(f"{files.folder_of(photo.key)}/{name}") for name in file_names(photo)}
    assert tasks.prepare_photo.func(key=str(photo.key)) == "ready"
    assert {name: files.read(f"{files.folder_of(photo.key)}/{name}") for name in file_names(photo)} == before


def test_what_a_killed_job_left_is_written_over(cast, keeper):
    photo = waiting_photo(cast, keeper, made.talkative_jpeg(orientation=6))
    files.keep(files.original_name(photo.key, "jpeg"), b"half a file")
    files.keep(photo.sized_path("320"), b"half a copy")
    prepared(photo)
    assert photo.state == "ready"
    assert file_names(photo) == ["1024.jpg", "2048.jpg", "320.jpg", "original.jpg"]
    assert Image.open(BytesIO(files.read(photo.sized_path("320")))).size == (240, 320)


def test_a_job_for_a_photo_that_is_gone_does_nothing():
    assert tasks.prepare_photo.func(key="6d1c8d7e-2f5f-4d55-9c65-0d8a3ad6a001") == "gone"


def test_a_photo_that_turns_out_to_be_damaged_leaves_its_reason_and_no_file(cast, keeper):
    photo = prepared(waiting_photo(cast, keeper, damaged()))
    assert photo.state == "refused"
    assert photo.problem == "This photo is damaged and cannot be read. Choose another, or take it again."
    assert file_names(photo) == []
    page = keeper.get(reverse("photo-list", args=[cast.daughter.pk])).text
    assert photo.problem in page
    assert photo.problem not in cast.client_of("mentor").get(reverse("photo-list", args=[cast.daughter.pk])).text
    keeper.post(reverse("photo-dismiss", args=[photo.key]))
    assert not Photo.objects.exists()


def test_a_refused_photo_does_not_stand_in_the_way_of_another_try(cast, keeper):
    data = damaged()
    prepared(waiting_photo(cast, keeper, data))
    assert send(keeper, cast.daughter, data).status_code == 302
    assert Photo.objects.get().state == "waiting"


def test_dismissing_never_takes_a_photo_that_can_be_seen(cast, keeper):
    photo = made.ready_photo(cast.daughter)
    keeper.post(reverse("photo-dismiss", args=[photo.key]))
    assert Photo.objects.get() == photo


def test_a_photo_whose_file_is_gone_says_so(cast, keeper):
    photo = waiting_photo(cast, keeper)
    files.remove(photo.original.name)
    assert prepared(photo).problem == tasks.FILE_IS_GONE


def test_a_full_disk_leaves_the_photo_waiting(cast, keeper, monkeypatch):
    photo = waiting_photo(cast, keeper)

    def full(name, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "keep", full)
    with pytest.raises(OSError, match="No space"):
        tasks.prepare_photo.func(key=str(photo.key))
    monkeypatch.undo()
    photo.refresh_from_db()
    assert photo.state == "waiting"
    assert prepared(photo).state == "ready"


def test_a_photo_that_is_not_stored_leaves_neither_file_nor_job(cast, monkeypatch):
    class Broken(Exception):
        pass

    def broken(*args, **kwargs):
        raise Broken

    monkeypatch.setattr(tasks.prepare_photo.__class__, "enqueue", broken)
    given = {"animal": cast.daughter, "view": "rear", "by": cast.keeper}
    kept = []
    keep = files.keep
    monkeypatch.setattr(files, "keep", lambda name, content: kept.append(keep(name, content)) or kept[-1])
    with pytest.raises(Broken), transaction.atomic():
        actions.add_photo(file=ContentFile(made.jpeg(), name="a.jpg"), **given)
    assert len(kept) == 1
    assert not default_storage.exists(kept[0])
    assert not Photo.objects.exists()
    assert not jobs().exists()


# --- lost jobs ------------------------------------------------------


def stuck(photo, minutes=20):
    Photo.objects.filter(pk=photo.pk).update(uploaded_at=timezone.now() - timedelta(minutes=minutes))


def test_a_photo_whose_job_was_lost_is_queued_by_the_next_photos_job(cast, keeper):
    lost = waiting_photo(cast, keeper)
    jobs().delete()
    stuck(lost)
    prepared(waiting_photo(cast, keeper, made.jpeg((64, 48))))
    assert jobs().filter(args_kwargs__kwargs__key=str(lost.key)).count() == 1
    assert tasks.enqueue_stuck() == 0  # it is queued now


def test_a_photo_that_waits_for_a_moment_only_is_left_alone(cast, keeper):
    waiting_photo(cast, keeper)
    jobs().delete()
    assert tasks.enqueue_stuck() == 0


def test_a_photo_that_is_too_much_for_the_machine_is_given_up_until_its_keeper_asks(cast, keeper):
    photo = waiting_photo(cast, keeper)
    stuck(photo)
    jobs().update(status="FAILED")
    for _ in range(tasks.MOST_FAILURES - 1):
        assert tasks.enqueue_stuck() == 1
        jobs().filter(status="READY").update(status="FAILED")
    assert tasks.enqueue_stuck() == 0
    keeper.post(reverse("photo-again", args=[photo.key]))
    assert jobs().filter(status="READY").count() == 1


# --- tidying --------------------------------------------------------


def tidied(capsys, **options):
    call_command("tidy_photos", **{"hours": 0} | options)
    return capsys.readouterr().out


def test_tidying_says_what_it_would_do_and_then_does_it(cast, keeper, capsys):
    tidied(capsys)  # what other tests left
    ready = prepared(waiting_photo(cast, keeper))
    lost = waiting_photo(cast, keeper, made.talkative_heic())
    jobs().delete()
    stray = "photos/ab/abababababababababababababababab/original.jpg"
    files.keep(stray, b"of nobody")
    files.keep(f"{files.folder_of(ready.key)}/arriving-6.jpg", b"left over")
    rest = default_storage.path(f"{files.folder_of(ready.key)}/{ARRIVING}rest")
    with open(rest, "wb") as file:
        file.write(b"half")
    said = tidied(capsys, dry_run=True)
    assert "1 waiting photo would be put back into the queue." in said
    assert "3 files without a photo would be deleted." in said
    assert default_storage.exists(stray)
    assert not jobs().exists()
    said = tidied(capsys)
    assert "3 files without a photo deleted." in said
    assert not default_storage.exists(stray)
    assert not os.path.exists(rest)
    assert jobs().get().args_kwargs["kwargs"]["key"] == str(lost.key)
    assert file_names(ready) == ["1024.jpg", "2048.jpg", "320.jpg", "original.jpg"]
    assert file_names(lost) == ["arriving-1.heic"]
    assert "0 waiting photos put back" in tidied(capsys)


def test_tidying_leaves_young_files_alone_and_names_photos_whose_files_are_gone(cast, keeper, capsys):
    tidied(capsys)
    stray = "photos/ab/abababababababababababababababab/original.jpg"
    files.keep(stray, b"a photo that is just being sent")
    photo = made.ready_photo(cast.daughter)
    files.remove(photo.sized_path("1024"))
    said = tidied(capsys, hours=24)
    assert "0 files without a photo deleted." in said
    assert default_storage.exists(stray)
    assert f"({photo.key}) are not in the photo store. Restore them." in said
    assert "0 files" not in tidied(capsys)


# --- whole files ----------------------------------------------------


def test_a_file_that_breaks_off_leaves_nothing_behind(settings, tmp_path):
    from clubsite.storage import WholeFileStorage

    class BreaksOff(ContentFile):
        def chunks(self, chunk_size=None):
            yield b"the first half"
            raise ConnectionError

    storage = WholeFileStorage(location=tmp_path)
    with pytest.raises(ConnectionError):
        storage.save("photos/a.jpg", BreaksOff(b""))
    assert list((tmp_path / "photos").iterdir()) == []
    assert storage.save("photos/a.jpg", ContentFile(b"whole")) == "photos/a.jpg"
    assert storage.save("photos/a.jpg", ContentFile(b"another")) != "photos/a.jpg"
    assert (tmp_path / "photos/a.jpg").read_bytes() == b"whole"
