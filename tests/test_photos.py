"""Photos of an animal: sent, stripped, sized, shown side by side, changed and withdrawn."""

import io
import threading
import uuid
from datetime import timedelta

import piexif
import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from grading import photo_files as files
from grading.actions import photos as actions
from grading.models import Photo
from grading.photo_store import SIZES
from herds.words import day_words

from . import photos_made as made
from .factories import make_look, make_profile
from .photo_sending import FACTS, prepared, send, send_by_script

pytestmark = pytest.mark.django_db
HTML = b"<!DOCTYPE html><html><body>Not found</body></html>"


@pytest.fixture
def keeper(cast):
    return cast.client_of("keeper")


def stored_names():
    """Every file in the photo store."""
    found = []
    for shelf in default_storage.listdir("photos")[0] if default_storage.exists("photos") else []:
        for folder in default_storage.listdir(f"photos/{shelf}")[0]:
            found += [
                f"photos/{shelf}/{folder}/{name}" for name in default_storage.listdir(f"photos/{shelf}/{folder}")[1]
            ]
    return found


# --- taking in ------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (made.talkative_jpeg(), "original.jpg"),
        (made.talkative_jpeg(orientation=6), "original.jpg"),
        (made.talkative_png(), "original.png"),
        (made.talkative_webp(), "original.webp"),
        (made.talkative_heic(), "original.jpg"),
    ],
    ids=["jpeg", "turned jpeg", "png", "webp", "heic"],
)
def test_a_photo_is_stripped_sized_and_served(cast, keeper, data, name):
    assert send(keeper, cast.daughter, data).status_code == 302
    photo = prepared(Photo.objects.get())
    assert photo.state == "ready"
    assert photo.original.name.endswith(name)
    assert (photo.width, photo.height) == (
        (480, 640) if b"\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06" in data else (640, 480)
    )
    names = [n for n in stored_names() if photo.key.hex in n]
    assert sorted(n.rpartition("/")[2] for n in names) == sorted([name, "320.jpg", "1024.jpg", "2048.jpg"])
    for each in names:
        content = files.read(each)
        assert not [secret for secret in made.SECRETS if secret in content]
        with Image.open(io.BytesIO(content)) as image:
            assert not dict(image.getexif())
        if each.endswith("jpg"):
            assert not any(piexif.load(content).values())
    for size in SIZES:
        answer = keeper.get(reverse("photo-file", args=[photo.key, size]))
        assert answer.status_code == 200
        assert max(Image.open(io.BytesIO(answer.getvalue())).size) == min(int(size), 640)
    assert photo.bytes == len(keeper.get(reverse("photo-file", args=[photo.key, "original"])).getvalue())


def test_nothing_of_a_photo_is_served_before_its_job_has_run(cast, keeper):
    send(keeper, cast.daughter, made.talkative_heic())
    photo = Photo.objects.get()
    assert files.is_arriving(photo.original.name)
    for size in (*SIZES, "original"):
        assert keeper.get(reverse("photo-file", args=[photo.key, size])).status_code == 404
    assert "are being made" in keeper.get(reverse("photo-list", args=[cast.daughter.pk])).text


def test_several_photos_in_one_form_are_all_stored(cast, keeper):
    answer = send(keeper, cast.daughter, *(made.jpeg((64 + n, 48)) for n in range(4)), follow=True)
    assert answer.status_code == 302
    assert Photo.objects.filter(animal=cast.daughter, view="left_side", light="open_shade").count() == 4
    assert "4 photos of A3 Alder are stored." in keeper.get(answer.url).text


def test_a_photo_is_taken_today_unless_it_tells_another_day(cast, keeper):
    send(keeper, cast.daughter, made.jpeg())
    assert Photo.objects.get().taken_on == timezone.localdate()
    told = timezone.localdate() - timedelta(days=20)
    send(keeper, cast.sire, made.jpeg(exif=made.exif_block(taken=f"{told:%Y:%m:%d} 10:00:00")))
    photo = Photo.objects.get(animal=cast.sire)
    assert photo.taken_on == told
    assert photo.age_days == cast.sire.age_days(told)


@pytest.mark.parametrize("told", ["2031:01:01 10:00:00", "1999:05:05 10:00:00", "not a day at all"])
def test_a_day_that_cannot_be_right_is_not_taken_from_the_file(cast, keeper, told):
    send(keeper, cast.daughter, made.jpeg(exif=made.exif_block(taken=told)))
    assert Photo.objects.get().taken_on == timezone.localdate()


def test_the_day_that_a_file_tells_is_proposed_before_it_is_forgotten(cast, keeper):
    told = timezone.localdate() - timedelta(days=20)
    data = made.jpeg(exif=made.exif_block(taken=f"{told:%Y:%m:%d} 10:00:00"))
    row = send_by_script(keeper, cast.daughter, data, taken_on=str(timezone.localdate()))
    assert f"The photo itself says {day_words(told)}." in row.text
    photo = Photo.objects.get()
    assert photo.taken_on == timezone.localdate()
    url = reverse("photo-update", args=[photo.key])
    assert keeper.post(url, {"taken_on": str(told)}, headers={"hx-request": "true"}).status_code == 200
    photo.refresh_from_db()
    assert (photo.taken_on, photo.view, photo.age_days) == (told, "left_side", cast.daughter.age_days(told))


def test_a_photo_belongs_to_the_look_of_its_day(cast, keeper):
    make_profile(cast.daughter.breed)
    look = make_look(cast.daughter, cast.keeper)
    earlier = make_look(cast.daughter, cast.keeper, observed_on=timezone.localdate() - timedelta(days=9))
    send(keeper, cast.daughter, made.jpeg())
    photo = Photo.objects.get()
    assert photo.look == look
    send(keeper, cast.daughter, made.jpeg((64, 48)), look=earlier.pk, taken_on=str(earlier.observed_on))
    assert Photo.objects.exclude(pk=photo.pk).get().look == earlier
    actions.edit_photo(photo=photo, view="rear", taken_on=earlier.observed_on, by=cast.keeper)
    photo.refresh_from_db()
    assert photo.look == earlier


# --- refused --------------------------------------------------------

BAD_FILES = {
    "empty": (b"", "empty"),
    "web page named .jpg": (HTML, "This is a web page, not a photo"),
    "cut short": (made.jpeg()[:9000], "cut short"),
    "gif": (made.saved(made.picture((64, 48)), "GIF"), "a GIF picture"),
    "bomb": (made.with_size(made.jpeg((64, 48)), "jpeg", 60_000, 60_000), "megapixels"),
    "too many pixels": (made.with_size(made.jpeg((64, 48)), "jpeg", 10_000, 6_001), "megapixels"),
    "moving": (
        made.saved(made.picture((64, 48)), "WEBP", save_all=True, append_images=[Image.new("RGB", (64, 48), "red")]),
        "moves",
    ),
    "random": (bytes(range(256)) * 9, "This is not a photo"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_is_no_photo_gets_a_sentence_and_stores_nothing(cast, keeper, name):
    data, sentence = BAD_FILES[name]
    before = stored_names()
    page = send(keeper, cast.daughter, data, view="rear", light="lamp", reference="grey_card", taken_on="2026-11-01")
    assert page.status_code == 422
    errors = page.context["form"].errors["photos"]
    assert len(errors) == 1
    assert sentence in errors[0]
    assert errors[0].endswith(".")
    assert 'id="view-rear" data-taken="0" data-word="rear" checked' in page.text
    assert 'value="lamp" ' in page.text
    assert 'value="2026-11-01"' in page.text
    assert not Photo.objects.exists()
    assert stored_names() == before


@pytest.mark.parametrize("name", BAD_FILES)
def test_the_script_gets_the_same_sentence_beside_the_file(cast, keeper, name):
    data, sentence = BAD_FILES[name]
    answer = send_by_script(keeper, cast.daughter, data)
    assert answer.status_code == 422
    assert sentence in answer.json()["problem"]
    assert not Photo.objects.exists()


def test_of_several_files_the_good_ones_are_stored_and_the_bad_ones_named(cast, keeper):
    page = send(keeper, cast.daughter, made.jpeg(), HTML, made.jpeg((64, 48)), b"")
    assert page.status_code == 422
    assert Photo.objects.count() == 2
    assert "2 photos of A3 Alder are stored." in page.text
    errors = page.context["form"].errors["photos"]
    assert [error.partition(":")[0] for error in errors] == ["photo2.jpg", "photo4.jpg"]


def test_a_form_without_a_photo_says_so(cast, keeper):
    page = keeper.post(reverse("photo-create", args=[cast.daughter.pk]), FACTS)
    assert page.status_code == 422
    assert page.context["form"].errors["photos"] == ["Choose a photo, or take one."]


def test_a_file_that_is_too_large_is_dropped_while_it_arrives_and_the_others_are_kept(cast, keeper, settings):
    settings.PHOTO_MAX_BYTES = 2**20
    large = b"\xff\xd8\xff\xe0" + b"x" * (3 * 2**20)
    page = send(keeper, cast.daughter, large, made.jpeg(), HTML, view="rear")
    assert page.status_code == 422
    errors = page.context["form"].errors["photos"]
    assert (
        errors[0]
        == "photo1.jpg: This file is larger than 1 MB. Choose a smaller size in the camera's settings and send that."
    )
    assert errors[1].startswith("photo3.jpg: This is a web page")
    assert Photo.objects.get().view == "rear"
    answer = send_by_script(keeper, cast.daughter, large)
    assert answer.status_code == 422
    assert answer.json()["problem"].startswith("This file is larger than 1 MB.")


def test_a_sending_of_absurd_size_is_not_read_to_its_end(cast, keeper, settings):
    settings.PHOTO_MAX_BYTES = 2**20
    body = (
        b'--x\r\nContent-Disposition: form-data; name="light"\r\n\r\nlamp\r\n'
        b'--x\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n\r\n'
    )
    read = io.BytesIO(body + b"x" * 2**21 + b"\r\n--x--\r\n")
    url = reverse("photo-create", args=[cast.daughter.pk])
    told = {"CONTENT_TYPE": "multipart/form-data; boundary=x", "CONTENT_LENGTH": "900000000"}
    page = keeper.generic("POST", url, **told, **{"wsgi.input": read})
    assert page.status_code == 422
    assert read.tell() < 2**20
    assert page.context["form"].errors == {"photos": [f"a.jpg: {actions.too_large()}"]}
    assert page.context["form"]["light"].value() == "lamp"


@pytest.mark.parametrize(
    ("given", "field", "sentence"),
    [
        ({"taken_on": "2026-02-31"}, "taken_on", "This is no day of the calendar."),
        ({"taken_on": str(timezone.localdate() + timedelta(days=2))}, "taken_on", "This day lies in the future."),
        ({"taken_on": "2001-01-01"}, "taken_on", "A3 Alder was born on"),
        ({"view": "from below"}, "view", "Select a valid choice."),
        ({"view": ""}, "view", "Choose a view."),
        ({"reference": "a ruler"}, "reference", "Select a valid choice."),
    ],
)
def test_what_cannot_be_said_about_a_photo_is_told_by_its_field(cast, keeper, given, field, sentence):
    page = send(keeper, cast.daughter, made.jpeg(), **given)
    assert page.status_code == 422
    assert page.context["form"].errors[field][0].startswith(sentence)
    assert not Photo.objects.exists()


# --- sent twice -----------------------------------------------------


def test_a_photo_that_is_sent_again_with_its_key_is_stored_once(cast, keeper):
    key = str(uuid.uuid4())
    first = send_by_script(keeper, cast.daughter, made.jpeg(), client_key=key)
    again = send_by_script(keeper, cast.daughter, made.jpeg(), client_key=key)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first["X-Photo"] == again["X-Photo"] == str(Photo.objects.get().key)


def test_the_key_of_somebody_elses_photo_opens_nothing(cast, keeper):
    key = str(uuid.uuid4())
    send_by_script(keeper, cast.daughter, made.jpeg(), client_key=key)
    for client, animal in ((cast.client_of("fellow"), cast.other_buck), (keeper, cast.sire)):
        answer = send_by_script(client, animal, made.jpeg((64, 48)), client_key=key)
        assert answer.status_code == 422
        assert "X-Photo" not in answer
    assert Photo.objects.count() == 1


def test_the_same_file_of_the_same_animal_is_stored_once(cast, keeper):
    data = made.jpeg()
    page = keeper.get(send(keeper, cast.daughter, data, data).url)
    assert "1 photo of A3 Alder is stored. 1 photo had been stored before and is there once." in page.text
    send(keeper, cast.daughter, data)
    assert Photo.objects.count() == 1
    send(keeper, cast.sire, data)
    assert Photo.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_two_sendings_that_arrive_together_are_stored_once(cast, monkeypatch):
    together = threading.Barrier(2, timeout=20)
    keep, answers = files.keep, []

    def keep_when_both_are_here(name, content):
        together.wait()
        return keep(name, content)

    def sending():
        try:
            answers.append(send_by_script(cast.client_of("keeper"), cast.daughter, data, client_key=key))
        finally:
            connection.close()

    data, key = made.jpeg(), str(uuid.uuid4())
    monkeypatch.setattr(files, "keep", keep_when_both_are_here)
    before = set(stored_names())
    threads = [threading.Thread(target=sending) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answer.status_code for answer in answers) == [200, 201]
    photo = Photo.objects.get()
    assert {answer["X-Photo"] for answer in answers} == {str(photo.key)}
    assert set(stored_names()) - before == {photo.original.name}


def test_a_form_that_another_site_sends_is_refused(cast):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.keeper, backend="allauth.account.auth_backends.AuthenticationBackend")
    assert send(client, cast.daughter, made.jpeg()).status_code == 403
    assert not Photo.objects.exists()


# --- said about a photo ---------------------------------------------

CHANGED = {"view": "rear", "light": "lamp", "reference": "grey_card", "caption": "After the molt"}


def test_what_is_said_about_a_photo_can_be_changed(cast, keeper):
    photo = made.ready_photo(cast.daughter)
    url = reverse("photo-update", args=[photo.key])
    seen = actions.version_of(photo)
    assert keeper.post(url, CHANGED | {"taken_on": str(photo.taken_on), "seen": seen}).status_code == 302
    photo.refresh_from_db()
    assert {name: getattr(photo, name) for name in CHANGED} == CHANGED
    page = keeper.get(reverse("photo-detail", args=[photo.key])).text
    assert "After the molt" in page
    assert "For the eye only" not in page


def test_a_stale_page_is_refused_and_keeps_what_was_typed(cast, keeper):
    photo = made.ready_photo(cast.daughter)
    seen, url = actions.version_of(photo), reverse("photo-update", args=[photo.key])
    actions.edit_photo(photo=photo, view="top", taken_on=photo.taken_on, by=cast.co_owner)
    typed = CHANGED | {"taken_on": str(photo.taken_on), "seen": seen}
    page = keeper.post(url, typed)
    assert page.status_code == 409
    assert "was changed by somebody else" in page.text
    assert 'value="After the molt"' in page.text
    assert Photo.objects.get().view == "top"
    knowingly = typed | {"seen": page.context["form"].data["seen"]}
    assert keeper.post(url, knowingly).status_code == 302
    assert Photo.objects.get().view == "rear"


def test_an_impossible_day_is_told_by_its_field_and_keeps_what_was_typed(cast, keeper):
    photo = made.ready_photo(cast.daughter)
    url = reverse("photo-update", args=[photo.key])
    page = keeper.post(url, CHANGED | {"taken_on": "2001-01-01"})
    assert page.status_code == 422
    assert page.context["form"].errors["taken_on"][0].startswith("A3 Alder was born on")
    assert 'value="After the molt"' in page.text
    assert Photo.objects.get().view == photo.view


def test_a_withdrawn_photo_is_seen_by_its_keepers_only_and_can_come_back(cast, keeper):
    cast.herd.shares_photos = True
    cast.herd.save()
    photo = made.ready_photo(cast.daughter)
    file, page = reverse("photo-file", args=[photo.key, "320"]), reverse("photo-detail", args=[photo.key])
    other = cast.client_of("fellow")
    assert other.get(page).status_code == 200
    answer = keeper.post(reverse("photo-withdraw", args=[photo.key]), follow=True)
    assert reverse("photo-restore", args=[photo.key]) in answer.text  # Undo
    for who in ("fellow", "mentor", "officer", "registrar"):
        assert cast.client_of(who).get(page).status_code == 404
        assert cast.client_of(who).get(file).status_code == 404
    assert keeper.get(page).status_code == 200
    keeper.get(file).getvalue()
    keeper.post(reverse("photo-restore", args=[photo.key]))
    assert other.get(page).status_code == 200


def test_a_photo_cannot_come_back_beside_its_twin(cast, keeper):
    data = made.jpeg()
    send(keeper, cast.daughter, data)
    first = Photo.objects.get()
    keeper.post(reverse("photo-withdraw", args=[first.key]))
    send(keeper, cast.daughter, data)
    assert Photo.objects.count() == 2
    page = keeper.post(reverse("photo-restore", args=[first.key]), follow=True).text
    assert "This photo of the animal is already here." in page
    first.refresh_from_db()
    assert first.withdrawn_at
