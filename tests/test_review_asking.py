"""The pages on which a review is asked for: the form, what is missing before it is sent, and nothing typed lost."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from grading.models import Review
from herds.models import Animal, AnimalGrant

from .factories import make_animal, make_herd, make_litter, make_member, make_photo
from .queries import queries_of

CREATE = "review-create"


def day(ahead):
    return timezone.localdate() + timedelta(days=ahead)


def page(client, url, status=200):
    response = client.get(url)
    assert response.status_code == status
    return response.content.decode()


def form_of(cast, **changes):
    return {
        "animals": [cast.daughter.pk, cast.sire.pk],
        "question": "color",
        "words": "He looks dark to me.",
        "mentor": cast.revoked_mentor.pk,
        "ends_on": day(20),
    } | changes


def test_the_page_before_sending_says_what_is_missing_and_nothing_typed_is_lost(cast):
    client = cast.client_of("keeper")
    form = page(client, f"{reverse(CREATE)}?animal={cast.daughter.pk}")
    chosen = re.findall(r'name="animals" value="(\d+)"[^>]*checked', form)
    assert chosen == [str(cast.daughter.pk)]
    make_photo(cast.daughter, view="left_side", taken_on=day(-3))
    make_photo(cast.daughter, view="top", taken_on=day(-200))
    check = client.post(f"{reverse(CREATE)}?herd={cast.herd.slug}", form_of(cast)).url
    assert check == reverse("review-check", args=[cast.herd.slug])
    text = page(client, check)
    assert "He looks dark to me." in text
    assert f"{reverse('photo-create', args=[cast.daughter.pk])}?view=top" in text
    assert f"{reverse('photo-create', args=[cast.daughter.pk])}?view=left_side" not in text
    assert f"{reverse('photo-create', args=[cast.daughter.pk])}?view=parted_rump" in text
    assert "No look yet" in text
    assert "Send it anyway" in text
    assert not Review.objects.exists()
    # The photo's page proposes the view that was asked for, and leads back.
    photo_page = page(client, f"{reverse('photo-create', args=[cast.daughter.pk])}?view=parted_rump&back={check}")
    assert f'href="{check}"' in photo_page
    assert (
        'value="parted_rump" id="view-parted_rump" data-taken="0" data-word="coat parted at rump" checked' in photo_page
    )
    # And what was typed still stands there, also on the form, and the list of reviews leads to it.
    assert check in page(client, reverse("review-list"))
    assert "He looks dark to me." in page(client, f"{reverse(CREATE)}?herd={cast.herd.slug}")


def test_a_way_back_to_another_site_is_not_followed(cast):
    url = reverse("photo-create", args=[cast.daughter.pk])
    for bad in ("https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"):
        assert "Back to the review" not in page(cast.client_of("keeper"), f"{url}?back={bad}")


def test_sending_makes_the_review_and_its_grants_once_and_forgets_the_draft(cast):
    client = cast.client_of("keeper")
    check = client.post(f"{reverse(CREATE)}?herd={cast.herd.slug}", form_of(cast)).url
    key = {"submission_key": "2f4f0d0e-93c4-4a39-9b7e-0c7f6e8d1a11"}
    first, second = client.post(check, key), client.post(check, key)
    review = Review.objects.get()
    assert first.url == second.url == review.get_absolute_url()
    assert AnimalGrant.objects.running().filter(mentor=cast.revoked_mentor, ends_on=day(20)).count() == 2
    assert page(client, check, status=302) == ""
    assert check not in page(client, reverse("review-list"))


def test_an_animal_that_left_meanwhile_is_said_and_the_rest_of_the_draft_stays(cast):
    client = cast.client_of("keeper")
    check = client.post(f"{reverse(CREATE)}?herd={cast.herd.slug}", form_of(cast)).url
    Animal.objects.filter(pk=cast.sire.pk).update(herd=cast.other_herd)
    answer = client.post(check, follow=True).content.decode()
    assert "One of these animals no longer stands in this herd. Choose again." in answer
    assert "He looks dark to me." in answer
    assert not Review.objects.exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"animals": []}, "Choose at least one animal."),
        ({"question": ""}, "Choose what you want to know."),
        ({"ends_on": ""}, "Choose a last day."),
        ({"mentor": "abc"}, "This member takes no requests any more."),
        ({"animals": ["9" * 30]}, "no longer stands in this herd"),
    ],
)
def test_a_form_with_a_mistake_comes_back_with_a_sentence(cast, changes, sentence):
    response = cast.client_of("keeper").post(f"{reverse(CREATE)}?herd={cast.herd.slug}", form_of(cast, **changes))
    assert response.status_code == 422
    assert sentence in response.content.decode()


def test_what_only_the_sending_can_refuse_is_said_on_the_page_before_it(cast):
    client = cast.client_of("keeper")
    url = f"{reverse(CREATE)}?herd={cast.herd.slug}"
    for changes, sentence in (
        ({"question": "other", "words": ""}, "Say in your own words what you want to know."),
        ({"ends_on": day(-2)}, "This day is past."),
    ):
        response = client.post(client.post(url, form_of(cast, **changes)).url)
        assert response.status_code == 422
        assert sentence in response.content.decode()


def test_the_litters_young_are_chosen_by_themselves_and_no_others_offered(cast):
    litter = make_litter(cast.dam, cast.sire, born_on=day(-100))
    young = make_animal(cast.herd, "A9", litter=litter, born_on=day(-100))
    text = page(cast.client_of("keeper"), f"{reverse(CREATE)}?litter={litter.pk}")
    assert f'value="{young.pk}"' in text
    assert f'name="animals" value="{cast.sire.pk}"' not in text
    assert f"?litter={litter.pk}" in page(cast.client_of("keeper"), litter.get_absolute_url())


def test_where_there_is_no_animal_to_choose_the_page_says_what_to_do_first(cast):
    client = cast.client_of("keeper")
    litter = make_litter(cast.dam, cast.sire, kits=2)
    text = page(client, f"{reverse(CREATE)}?litter={litter.pk}")
    assert "None of this litter has a card yet" in text
    assert reverse("kit-mark", args=[litter.pk]) in text
    empty = make_herd(cast.keeper, name="Empty")
    assert "No animal stands in this herd" in page(client, f"{reverse(CREATE)}?herd={empty.slug}")


def test_a_youth_reads_kindly_who_asks_for_them(cast):
    youth = make_member("Wren Millbrook", guardian=cast.fellow)
    herd = make_herd(youth, name="Wren")
    cast.youth = youth
    text = page(cast.client_of("youth"), f"{reverse(CREATE)}?herd={herd.slug}")
    assert "Rhea Millbrook" in text
    assert "<textarea" not in text


def test_a_member_with_two_herds_says_which_and_one_without_is_told_so(cast):
    make_herd(cast.keeper, name="Second")
    text = page(cast.client_of("keeper"), reverse(CREATE))
    assert "?herd=second" in text
    assert "?herd=ashgrove" in text
    assert "No herd of yours yet" in page(cast.client_of("officer"), reverse(CREATE))


def test_what_is_missing_costs_the_same_for_one_animal_and_for_many(cast):
    client = cast.client_of("keeper")
    url = f"{reverse(CREATE)}?herd={cast.herd.slug}"
    check = client.post(url, form_of(cast, animals=[cast.sire.pk])).url
    one = queries_of(client, check)
    many = [make_animal(cast.herd) for _ in range(9)]
    client.post(url, form_of(cast, animals=[each.pk for each in many]))
    assert queries_of(client, check) == one == 9
