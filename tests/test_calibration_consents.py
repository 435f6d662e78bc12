"""Owners' leave to show photos to the club's graders, and the photos that are talked about at a meeting."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clubsite.errors import NotYours
from grading.actions import calibration as actions
from grading.calibrating import reading
from grading.models import PhotoConsent
from grading.models.consent import open_photos

from .calibration_making import answered, eyes, make_set, opened, truths, worked_out
from .factories import make_member, make_photo
from .looking import text_of

pytestmark = pytest.mark.django_db


def test_a_photo_is_open_only_with_its_owners_leave_and_not_after_it_is_taken_back(cast):
    photo = make_photo(cast.daughter, state="ready", width=80, height=60, view="left_side")
    assert not open_photos("calibration").exists()
    actions.set_consents(photos=[photo], use="calibration", agreed=[photo], by=cast.keeper)
    assert open_photos("calibration").get() == photo
    assert not open_photos("practice").exists()
    actions.set_consents(photos=[photo], use="calibration", agreed=[], by=cast.co_owner)
    assert not open_photos("calibration").exists()
    assert PhotoConsent.objects.get().withdrawn_at is not None


def test_nobody_opens_another_herds_photos(cast):

    photo = make_photo(cast.daughter, state="ready", width=80, height=60)
    for who in (cast.fellow, cast.officer, cast.mentor):
        with pytest.raises(NotYours):
            actions.set_consents(photos=[photo], use="calibration", agreed=[photo], by=who)


def test_the_page_opens_what_is_ticked_and_closes_what_is_not(cast):
    photos = [make_photo(cast.daughter, state="ready", width=80, height=60, view=v) for v in ("left_side", "top")]
    make_photo(cast.daughter, state="ready", width=80, height=60, view="ear_mark")
    client, url = cast.client_of("keeper"), reverse("photo-consents", args=[cast.herd.slug])
    page = text_of(client.get(url))
    assert page.count('name="shown"') == 2  # an ear mark says who it is
    sent = {"shown": [p.pk for p in photos], "calibration": [photos[0].pk], "practice": [p.pk for p in photos]}
    assert "3 leaves given" in text_of(client.post(url, sent, follow=True))
    assert "2 taken back" in text_of(
        client.post(url, {"shown": [p.pk for p in photos], "practice": [photos[0].pk]}, follow=True)
    )
    assert list(open_photos("practice")) == [photos[0]]
    whole = {"shown": [p.pk for p in photos], "practice": [photos[0].pk], "all": "calibration"}
    assert "2 leaves given" in text_of(client.post(url, whole, follow=True))  # with gloves on: one touch for a page
    assert set(open_photos("calibration")) == set(photos)
    assert list(open_photos("practice")) == [photos[0]]


def test_what_the_steadiest_see_apart_is_talked_about_with_surface_and_undercolor_together(cast):
    of_set = opened(make_set(cast, animals=10, doubles=0), cast)
    apart = of_set.items.get(position=2).pk
    true = truths(of_set, seed=3)
    for number in range(3):
        sees = eyes(true, scatter=0.3, seed=number)

        def steps(item, trait, sees=sees, number=number):
            odd = item.pk == apart and trait.summary == "surface"
            return (1, 5, 9)[number] if odd else sees(item, trait)

        answered(of_set, make_member(f"Eye {number}"), steps)
    done = worked_out(of_set)
    found = reading.to_discuss(done)
    assert apart in {each["item"].pk for each in found}
    for each in found:
        assert [trait.summary for trait, *_ in each["steps"]] == ["surface", "undercolor"]
    first = next(each for each in found if each["item"].pk == apart)
    _, _, given, talked = first["steps"][0]
    assert (given, talked) == ([1, 5, 9], True)
    page = text_of(cast.client_of("officer").get(done.get_absolute_url()))
    assert "<b>Surface shade</b>: 1, 5, 9; together" in page
    assert page.count("Undercolor darkness: ") == len(found)
    with CaptureQueriesContext(connection) as queries:
        reading.to_discuss(done)
    assert len(queries) == 4
