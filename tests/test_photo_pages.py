"""Who sees which photo, page, fragment and file; cache headers; photos side by side; query counts."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from grading.models import Photo, View
from grading.photo_store import SIZES
from herds.models import Grant
from herds.words import age_words

from . import photos_made as made
from .factories import make_animal, make_grant, make_look, make_member, make_photo, make_profile
from .photo_sending import send

pytestmark = pytest.mark.django_db
PART = {"hx-request": "true"}


@pytest.fixture
def keeper(cast):
    return cast.client_of("keeper")


# --- who sees what --------------------------------------------------

CLOSED = {
    "stranger": 404,
    "ended_mentor": 404,
    "coming_mentor": 404,
    "revoked_mentor": 404,
    "registrar": 404,
    "officer": 404,
    "grader": 404,
    "visitor": 302,
}
OPEN = {"keeper": 200, "co_owner": 200, "guardian": 200, "mentor": 200, "grading_not_mentor": 200}


def client_of(cast, who):
    """A client of one of the cast, or of somebody whom only photos know."""
    today = timezone.localdate()
    if who in ("stranger", "ended_mentor", "coming_mentor", "grading_not_mentor"):
        member = make_member("Odo Farthing")
        start, end = {"ended_mentor": (-90, -1), "coming_mentor": (1, 30)}.get(who, (-5, 30))
        if who != "stranger":
            days = {"starts_on": today + timedelta(days=start), "ends_on": today + timedelta(days=end)}
            make_grant(cast.herd, member, cast.keeper, may_grade=False, **days)
        cast.somebody, who = member, "somebody"
    if who == "guardian":
        cast.guardian = make_member("Una Ashgrove")
        cast.co_owner.guardian = cast.guardian
        cast.co_owner.save()
    return cast.client_of(who)


@pytest.mark.parametrize(("who", "status"), (CLOSED | OPEN).items())
def test_every_page_fragment_and_file_of_a_photo_asks_who_is_there(cast, who, status):
    photo = made.ready_photo(cast.daughter)
    client = client_of(cast, who)
    reads = [
        client.get(reverse("photo-detail", args=[photo.key])),
        client.get(reverse("photo-figure", args=[photo.key]), headers=PART),
        client.get(reverse("photo-state", args=[photo.key]), headers=PART),
        client.get(reverse("photo-list", args=[cast.daughter.pk])),
        client.get(reverse("photo-list", args=[cast.daughter.pk]), headers=PART),
        client.get(reverse("photo-strip", args=[cast.daughter.pk]), headers=PART),
        *(client.get(reverse("photo-file", args=[photo.key, size])) for size in SIZES),
        *(client.head(reverse("photo-file", args=[photo.key, size])) for size in SIZES),
    ]
    assert [answer.status_code for answer in reads] == [status] * len(reads)
    for answer in reads:
        if answer.streaming:
            answer.getvalue()
    keeps = status if who in ("keeper", "co_owner", "guardian", "visitor") else 404
    original = client.get(reverse("photo-file", args=[photo.key, "original"]))
    assert original.status_code == keeps
    if original.streaming:
        original.getvalue()
    assert client.get(reverse("photo-create", args=[cast.daughter.pk])).status_code == keeps
    page = client.get(reverse("animal-detail", args=[cast.daughter.pk])).text
    assert (str(photo.key) in page) == (status == 200)


@pytest.mark.parametrize("who", [*CLOSED, "mentor"])
def test_nobody_but_the_keepers_sends_or_changes_a_photo(cast, who):
    photo = made.ready_photo(cast.daughter)
    client = client_of(cast, who)
    refused = 302 if who == "visitor" else 404
    assert send(client, cast.daughter, made.jpeg()).status_code == refused
    for name in ("update", "withdraw", "restore", "dismiss", "again"):
        for headers in ({}, PART):
            url = reverse(f"photo-{name}", args=[photo.key])
            assert client.post(url, {"view": "rear"}, headers=headers).status_code == refused
    assert list(Photo.objects.values_list("view", "withdrawn_at")) == [(photo.view, None)]


def test_a_herd_that_shares_its_photos_shows_them_to_members_without_the_original(cast):
    cast.herd.shares_photos = True
    cast.herd.save()
    photo = made.ready_photo(cast.daughter)
    client = cast.client_of("fellow")
    assert client.get(reverse("photo-detail", args=[photo.key])).status_code == 200
    client.get(reverse("photo-file", args=[photo.key, "1024"])).getvalue()
    assert client.get(reverse("photo-file", args=[photo.key, "original"])).status_code == 404
    assert client.get(reverse("photo-create", args=[cast.daughter.pk])).status_code == 404
    assert cast.client_of("visitor").get(reverse("photo-file", args=[photo.key, "320"])).status_code == 302


def test_the_photos_go_with_the_animal_to_its_new_herd(cast, keeper):
    photo = made.ready_photo(cast.daughter)
    cast.daughter.herd = cast.other_herd
    cast.daughter.save()
    assert keeper.get(reverse("photo-detail", args=[photo.key])).status_code == 404
    assert cast.client_of("fellow").get(reverse("photo-detail", args=[photo.key])).status_code == 200


def test_only_the_sizes_that_are_made_have_an_address(cast, keeper):
    photo = made.ready_photo(cast.daughter)
    for size in ("321", "4096", "arriving-1", "original-jpg"):
        assert keeper.get(reverse("photo-file", args=[photo.key, size])).status_code == 404


# --- files ----------------------------------------------------------


def test_a_file_says_how_it_may_be_kept(cast, keeper):
    photo = made.ready_photo(cast.daughter)
    answer = keeper.get(reverse("photo-file", args=[photo.key, "320"]))
    assert answer.getvalue().startswith(b"\xff\xd8")
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Cache-Control"] == "private, no-cache"
    assert "Cookie" in answer["Vary"]
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Disposition"].startswith('inline; filename="a3-alder-another-view-')
    original = keeper.get(reverse("photo-file", args=[photo.key, "original"]))
    assert original["Content-Disposition"].startswith("attachment; ")
    assert original.getvalue()


def test_a_name_with_a_quote_and_a_line_break_is_harmless_as_a_file_name(cast, keeper):
    animal = make_animal(cast.herd, "X1", name='Evil"\r\nSet-Cookie: a=b')
    photo = made.ready_photo(animal)
    answer = keeper.get(reverse("photo-file", args=[photo.key, "320"]))
    assert answer.getvalue()
    assert answer["Content-Disposition"].count('"') == 2
    assert "Set-Cookie: a=b" not in answer["Content-Disposition"]


def test_a_file_the_browser_has_is_not_sent_again_but_asked_for_each_time(cast):
    photo = made.ready_photo(cast.daughter)
    url = reverse("photo-file", args=[photo.key, "320"])
    mentor = cast.client_of("mentor")
    first = mentor.get(url)
    assert first.getvalue()
    again = mentor.get(url, headers={"if-none-match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again["Cache-Control"] == "private, no-cache"
    assert mentor.get(
        reverse("photo-file", args=[photo.key, "1024"]), headers={"if-none-match": first["ETag"]}
    ).getvalue()
    Grant.objects.filter(mentor=cast.mentor).update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    assert mentor.get(url, headers={"if-none-match": first["ETag"]}).status_code == 404


def test_a_file_that_is_gone_from_the_store_answers_404(cast, keeper):
    photo = make_photo(cast.daughter, state="ready", width=9, height=9)
    assert keeper.get(reverse("photo-file", args=[photo.key, "320"])).status_code == 404


# --- side by side ---------------------------------------------------


def many_photos(cast, number):
    """Photos of three views over `number` / 3 days."""
    for back in range(number // 3):
        day = timezone.localdate() - timedelta(days=7 * back)
        for view in ("left_side", "rear", "parted_loin"):
            make_photo(cast.daughter, view=view, taken_on=day, state="ready", width=900, height=675)


def test_views_stand_in_rows_and_ages_in_columns(cast, keeper):
    many_photos(cast, 6)
    make_photo(cast.daughter, view="top", state="ready", width=900, height=675)
    page = keeper.get(reverse("photo-list", args=[cast.daughter.pk]))
    rows = page.context["rows"]
    assert [row.view for row in rows] == [View.LEFT_SIDE, View.TOP, View.REAR, View.PARTED_LOIN]
    assert [[len(cell) for cell in row.cells] for row in rows] == [[1, 1], [0, 1], [1, 1], [1, 1]]
    days = [timezone.localdate() - timedelta(days=7), timezone.localdate()]
    assert [day for day, _age in page.context["columns"]] == days
    assert [age for _day, age in page.context["columns"]] == [age_words(cast.daughter.born_on, day) for day in days]
    assert 'alt="Left side of A3 Alder, at ' in page.text
    assert 'width="900" height="675" loading="lazy"' in page.text
    assert page.text.count("For the eye only") == 7


def test_a_photo_with_a_card_in_the_frame_is_not_for_the_eye_only(cast, keeper):
    make_photo(cast.daughter, reference="three_greys", state="ready", width=9, height=9)
    assert "For the eye only" not in keeper.get(reverse("photo-list", args=[cast.daughter.pk])).text


def test_many_days_are_turned_in_pages_the_newest_first(cast, keeper):
    many_photos(cast, 90)
    url = reverse("photo-list", args=[cast.daughter.pk])
    first = keeper.get(url)
    assert len(first.context["columns"]) == 12
    assert first.context["columns"][-1][0] == timezone.localdate()
    last = keeper.get(url, {"page": 3})
    assert len(last.context["columns"]) == 6
    assert last.context["columns"][-1][0] < first.context["columns"][0][0]


@pytest.mark.parametrize("number", [3, 30])
def test_the_list_costs_the_same_for_3_and_30_photos(cast, keeper, django_assert_num_queries, number):
    many_photos(cast, number)
    url = reverse("photo-list", args=[cast.daughter.pk])
    keeper.get(url)  # the club's row is made with the first page of all
    with django_assert_num_queries(6):  # session, member, animal, photos, set aside, club
        keeper.get(url)


@pytest.mark.parametrize("number", [3, 30])
def test_the_strip_on_the_animals_page_costs_the_same_for_3_and_30(cast, keeper, django_assert_num_queries, number):
    many_photos(cast, number)
    with django_assert_num_queries(4):  # session, member, animal, photos
        keeper.get(reverse("photo-strip", args=[cast.daughter.pk]), headers=PART)


def test_the_strip_shows_the_view_that_was_asked_for_by_age(cast, keeper):
    many_photos(cast, 9)
    strip = keeper.get(reverse("photo-strip", args=[cast.daughter.pk]), {"view": "rear"}, headers=PART).text
    assert strip.count("<figure") == 3
    assert strip.count('alt="Rear of A3 Alder') == 3
    assert 'id="strip-rear" aria-current="true"' in strip
    without = keeper.get(reverse("photo-strip", args=[cast.daughter.pk]), {"view": "top"}, headers=PART).text
    assert 'id="strip-left_side" aria-current="true"' in without


def test_a_photo_leads_to_the_same_view_at_other_ages(cast, keeper):
    many_photos(cast, 9)
    young, middle, old = Photo.objects.filter(view="rear").order_by("taken_on")
    page = keeper.get(reverse("photo-detail", args=[middle.key]))
    assert (page.context["earlier"], page.context["later"]) == (young.key, old.key)
    assert keeper.get(reverse("photo-detail", args=[young.key])).context["earlier"] is None


# --- taking ---------------------------------------------------------


def test_the_next_missing_view_is_proposed_and_those_taken_are_marked(cast, keeper):
    url = reverse("photo-create", args=[cast.daughter.pk])
    assert keeper.get(url).context["form"]["view"].value() == "left_side"
    for view in ("left_side", "right_side", "head_front"):
        make_photo(cast.daughter, view=view)
    page = keeper.get(url)
    assert page.context["form"]["view"].value() == "top"
    assert 'id="view-head_front" data-taken="1"' in page.text
    for view in View:
        make_photo(cast.daughter, view=view)
    assert keeper.get(url).context["form"]["view"].value() == "other"


def test_the_light_of_the_last_photo_and_of_the_look_is_taken_over(cast, keeper):
    url = reverse("photo-create", args=[cast.daughter.pk])
    assert not keeper.get(url).context["form"]["light"].value()
    make_photo(cast.sire, uploaded_by=cast.keeper, light="overcast", reference="grey_card")
    form = keeper.get(url).context["form"]
    assert (form["light"].value(), form["reference"].value()) == ("overcast", "grey_card")
    make_profile(cast.daughter.breed)
    look = make_look(cast.daughter, cast.keeper, light="lamp")
    assert keeper.get(url, {"look": look.pk}).context["form"]["light"].value() == "lamp"


def test_the_guide_says_how_each_view_is_taken_and_spares_the_animal(cast, keeper):
    page = keeper.get(reverse("photo-create", args=[cast.daughter.pk])).text
    for view in View:
        assert f'class="how-{view.value}"' in page
    for view in list(View)[:10]:
        assert f"img/views/{view.value}.webp" in page
    for words in ("by the ears", "scruff", "hindquarters", "panting", "wet nose", "32 °C", "vet", "club's rules"):
        assert words in page.replace("&#x27;", "'")
    assert "White spots hide" not in page
    kit = make_animal(cast.herd, "K1", born_on=timezone.localdate() - timedelta(days=12))
    assert "White spots hide in the silver later" in keeper.get(reverse("photo-create", args=[kit.pk])).text


def test_a_look_shows_its_photos_and_lets_its_keeper_take_more(cast, keeper):
    make_profile(cast.daughter.breed)
    look = make_look(cast.daughter, cast.keeper)
    photo = made.ready_photo(cast.daughter, look=look, view="rear")
    other = made.ready_photo(cast.daughter, taken_on=timezone.localdate() - timedelta(days=90))
    page = keeper.get(look.get_absolute_url()).text
    assert str(photo.key) in page
    assert str(other.key) not in page
    assert "data-photo-form" in page
    seen_by_mentor = cast.client_of("mentor").get(look.get_absolute_url()).text
    assert str(photo.key) in seen_by_mentor
    assert "data-photo-form" not in seen_by_mentor


def test_a_photo_sent_from_a_look_leads_back_to_it(cast, keeper):
    make_profile(cast.daughter.breed)
    look = make_look(cast.daughter, cast.keeper, finished=False)
    page = keeper.get(reverse("look-section", args=[look.pk, 5])).text
    assert f'name="look" value="{look.pk}"' in page
    answer = send(keeper, cast.daughter, made.jpeg(), look=look.pk, back="look")
    assert answer.url == reverse("look-section", args=[look.pk, 5])
    assert Photo.objects.get().look == look


def test_the_look_of_another_animal_is_not_taken_for_this_one(cast, keeper):
    make_profile(cast.daughter.breed)
    look = make_look(cast.sire, cast.keeper)
    for asked in (look.pk, "9" * 30, "x", -1):
        assert keeper.get(reverse("photo-create", args=[cast.daughter.pk]), {"look": asked}).context["look"] is None


# --- steps ----------------------------------------------------------


def test_a_steps_picture_is_for_members_and_published_profiles(cast, keeper):
    from grading.models import Trait

    profile = make_profile(cast.daughter.breed)
    text = made.pictured_step(profile, Trait.objects.get(code="surface_shade"))
    url = reverse("step-picture", args=[text.pk])
    answer = keeper.get(url)
    assert answer.getvalue().startswith(b"\xff\xd8")
    assert keeper.get(url, headers={"if-none-match": answer["ETag"]}).status_code == 304
    assert cast.client_of("visitor").get(url).status_code == 302
    assert url in keeper.get(reverse("profile-detail", args=[profile.pk])).text
    profile.published_at = None
    profile.save()
    assert keeper.get(url).status_code == 404
