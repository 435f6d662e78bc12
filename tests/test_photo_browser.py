"""In a browser at 360 px: photos are sent one by one, refused by name, sent again when the connection was lost."""

import re
import threading
from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from grading.models import Photo
from grading.views import photos
from herds.words import day_words

from . import photos_made as made
from .pages.walker import sign_in
from .photo_sending import prepared

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
ROW = ".uploads > li"


@pytest.fixture
def folder(tmp_path):
    """Three photos, a web page that is named like one, and an empty file."""
    day = timezone.localdate() - timedelta(days=12)
    told = made.exif_block(orientation=6, taken=f"{day:%Y:%m:%d} 10:00:00")
    contents = {
        "left.jpg": made.jpeg((800, 600)),
        "right.jpg": made.jpeg((700, 600), exif=told),
        "top.heic": made.talkative_heic(made.picture((320, 240))),
        "page.jpg": b"<!DOCTYPE html><html></html>",
        "empty.jpg": b"",
    }
    for name, content in contents.items():
        (tmp_path / name).write_bytes(content)
    return tmp_path


def opened(context, cast, live_server, animal):
    sign_in(context, cast.client_of("keeper"), live_server.url)
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(live_server.url + reverse("photo-create", args=[animal.pk]))
    return page


@pytest.fixture
def taking(context, cast, live_server):
    """The page on which the keeper takes photos of the daughter."""
    return opened(context, cast, live_server, cast.daughter)


def choose(page, folder, *names):
    page.locator("input[data-photos][multiple]").set_input_files([folder / name for name in names])


def test_photos_are_sent_one_by_one_each_as_the_next_missing_view(cast, taking, folder):
    expect(taking.get_by_text("Take: left side")).to_be_attached()
    choose(taking, folder, "left.jpg", "right.jpg", "top.heic")
    expect(taking.locator("[data-sum]")).to_have_text("3 of 3 photos have arrived.")
    views = {photo.view: photo for photo in Photo.objects.all()}
    assert set(views) == {"left_side", "right_side", "top"}
    assert (views["right_side"].original.name).endswith("arriving-6.jpg")
    expect(taking.get_by_text("Take: front of head")).to_be_attached()
    expect(taking.locator(".photo-done:visible")).to_have_count(3)
    expect(taking.get_by_text("Arrived. Its small copies are being made.")).to_have_count(3)
    for photo in views.values():
        assert prepared(photo).state == "ready"
    expect(taking.get_by_text("Stored", exact=True)).to_have_count(3)


def test_a_photo_chosen_before_the_script_came_over_a_slow_line_is_sent_too(cast, context, live_server, folder):
    held = []
    context.route(re.compile("js/photos"), lambda route: held.append(route))
    sign_in(context, cast.client_of("keeper"), live_server.url)
    page = context.new_page()
    page.goto(live_server.url + reverse("photo-create", args=[cast.daughter.pk]), wait_until="commit")
    choose(page, folder, "left.jpg", "right.jpg")
    assert held
    assert not Photo.objects.exists()
    held[0].continue_()
    expect(page.locator("[data-sum]")).to_have_text("2 of 2 photos have arrived.")
    assert set(Photo.objects.values_list("view", flat=True)) == {"left_side", "right_side"}


def test_a_file_that_is_no_photo_says_why_beside_its_name_and_the_others_arrive(cast, taking, folder):
    choose(taking, folder, "page.jpg", "left.jpg", "empty.jpg")
    expect(taking.locator("[data-sum]")).to_have_text("1 of 3 photos have arrived. 2 were refused.")
    expect(taking.locator(ROW, has_text="page.jpg")).to_contain_text("This is a web page, not a photo")
    expect(taking.locator(ROW, has_text="empty.jpg")).to_contain_text("This file is empty.")
    assert Photo.objects.count() == 1
    taking.locator(ROW, has_text="page.jpg").get_by_role("button", name="Leave this photo out").click()
    expect(taking.locator(ROW)).to_have_count(2)


def test_a_photo_without_connection_stays_in_the_list_and_arrives_when_it_is_back(cast, taking, folder):
    taking.context.set_offline(True)
    choose(taking, folder, "left.jpg", "right.jpg")
    row = taking.locator(ROW, has_text="left.jpg")
    expect(row).to_contain_text("Did not arrive: no connection. It stays here and is sent again by itself.")
    expect(row.get_by_role("button", name="Send again")).to_be_visible()
    expect(taking.locator("[data-sum]")).to_have_text("0 of 2 photos have arrived. 2 did not arrive yet.")
    assert not Photo.objects.exists()
    taking.context.set_offline(False)
    expect(taking.locator("[data-sum]")).to_have_text("2 of 2 photos have arrived.")
    assert Photo.objects.count() == 2


def test_a_photo_whose_answer_was_lost_on_the_way_is_stored_once(cast, taking, folder, monkeypatch):
    answer, statuses, stored, gone = photos._answer_script, [], threading.Event(), threading.Event()

    def answer_when_nobody_listens(*given):
        statuses.append(answer(*given).status_code)
        stored.set()
        gone.wait(20)
        return answer(*given)

    monkeypatch.setattr(photos, "_answer_script", answer_when_nobody_listens)
    choose(taking, folder, "left.jpg")
    expect(taking.get_by_text("Sent; the site looks at it.")).to_be_visible()
    assert stored.wait(20)
    taking.context.set_offline(True)
    expect(taking.get_by_role("button", name="Send again")).to_be_visible()
    gone.set()
    taking.context.set_offline(False)
    expect(taking.locator("[data-sum]")).to_have_text("1 of 1 photo has arrived.")
    assert statuses == [201, 200]
    assert Photo.objects.count() == 1


def test_whoever_was_signed_out_meanwhile_keeps_the_photo_in_the_list(cast, taking, folder, live_server):
    Session.objects.all().delete()
    choose(taking, folder, "left.jpg")
    expect(taking.locator(ROW)).to_contain_text("Not stored: you may have been signed out.")
    assert not Photo.objects.exists()
    sign_in(taking.context, cast.client_of("keeper"), live_server.url)
    taking.get_by_role("button", name="Send again").click()
    expect(taking.locator("[data-sum]")).to_have_text("1 of 1 photo has arrived.")


def test_a_file_that_is_too_large_is_not_even_sent(cast, context, live_server, folder, settings):
    settings.PHOTO_MAX_BYTES = 2**20
    page = opened(context, cast, live_server, cast.daughter)
    (folder / "large.jpg").write_bytes(made.jpeg() + bytes(2**20))
    sent = []
    page.on("request", lambda request: request.method == "POST" and sent.append(request.url))
    choose(page, folder, "large.jpg")
    expect(page.locator(ROW)).to_contain_text("This file is larger than 1 MB.")
    assert sent == []


def test_what_is_said_about_a_photo_is_put_right_in_its_row(cast, taking, folder):
    choose(taking, folder, "right.jpg")
    row = taking.locator(ROW)
    with taking.expect_response("**/change/"):  # the select shows the choice before the server has it
        row.get_by_label("View of this photo").select_option("rear")
    expect(row.get_by_label("View of this photo")).to_have_value("rear")
    photo = Photo.objects.get()
    assert prepared(photo).view == "rear"
    taking.reload()
    choose(taking, folder, "right.jpg")  # chosen once more: it is stored once, and says what it is
    day = timezone.localdate() - timedelta(days=12)
    expect(row.get_by_label("View of this photo")).to_have_value("rear")
    assert Photo.objects.count() == 1
    row.get_by_role("button", name="Withdraw").click()
    expect(row).to_contain_text("is withdrawn.")
    row.get_by_role("button", name="Undo").click()
    expect(row).to_contain_text("Stored")
    photo.refresh_from_db()
    assert photo.withdrawn_at is None
    assert photo.taken_on == timezone.localdate() != day


def test_the_day_that_a_photo_tells_is_taken_over_by_one_touch(cast, taking, folder):
    choose(taking, folder, "right.jpg")
    day = timezone.localdate() - timedelta(days=12)
    row = taking.locator(ROW)
    expect(row).to_contain_text(f"The photo itself says {day_words(day)}.")
    row.get_by_role("button", name="Use that day").click()
    expect(row.get_by_role("button", name="Use that day")).to_have_count(0)
    assert Photo.objects.get().taken_on == day


def test_without_script_the_form_sends_all_at_once(cast, browser, live_server, folder):
    context = browser.new_context(java_script_enabled=False)
    page = opened(context, cast, live_server, cast.daughter)
    page.locator("#view-rear").check()
    choose(page, folder, "left.jpg", "right.jpg", "page.jpg")
    page.get_by_role("button", name="Send the chosen photos").click()
    expect(page.locator(".form-errors")).to_contain_text("page.jpg: This is a web page, not a photo")
    expect(page.locator("#notices")).to_contain_text("2 photos of A3 Alder are stored.")
    expect(page.locator("#view-rear")).to_be_checked()
    assert Photo.objects.filter(view="rear").count() == 2
    page.get_by_role("link", name="See them side by side").click()
    expect(page.locator("figure.photo")).to_have_count(2)
    context.close()
