"""The look's screens: what each touch answers, what is refused, and what stays after the day."""

from datetime import timedelta

import pgtrigger
import pytest
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import Club
from grading.actions import looks as actions
from grading.models import Look, ProfileTrait, Trait

from .factories import make_look
from .looking import HTMX, begin, day_passes, text_of, touch

pytestmark = pytest.mark.django_db


@pytest.fixture
def look(cast):
    return begin(cast)


@pytest.fixture
def keeper(cast):
    Club.current()  # made on a club's first page, and then there
    return cast.client_of("keeper")


# --- the screens


def test_each_section_has_its_own_screen_and_there_is_no_sixth(keeper, look):
    for section in range(1, 6):
        assert keeper.get(reverse("look-section", args=[look.pk, section])).status_code == 200
    assert keeper.get(reverse("look-section", args=[look.pk, 6])).status_code == 404
    assert keeper.get(reverse("look-section", args=[look.pk, 0])).status_code == 404


def test_cannot_tell_is_offered_on_every_trait(keeper, look):
    offered = sum(
        text_of(keeper.get(reverse("look-section", args=[look.pk, section]))).count('value="cannot-tell"')
        for section in range(1, 6)
    )
    assert offered == sum(len(trait.sites) or 1 for trait in Trait.objects.all())


def test_a_touch_is_saved_and_only_then_answered_with_the_goal(keeper, look):
    page = text_of(keeper.get(reverse("look-section", args=[look.pk, 1])))
    assert "scale-goal" not in page
    assert "Goal" not in page
    response = touch(keeper, look, "surface_shade", "5")
    part = text_of(response)
    assert response.status_code == 200
    assert "Goal: 7 to 8" in part
    assert part.count("<fieldset") == 1, "the other scales stay as they are"
    assert "Saved" in part
    assert look.answers.get().step == 5
    assert "Goal" not in text_of(touch(keeper, look, "surface_cast", "cannot-tell"))


def test_a_touch_also_tells_how_far_the_look_has_come(keeper, look):
    part = text_of(touch(keeper, look, "surface_shade", "5"))
    assert 'id="look-progress"' in part
    assert "of 7" in part
    assert f"{reverse('look-section', args=[look.pk, 1])}#scale-even_front_back" in part


def test_earlier_steps_are_not_shown_while_grading(cast, keeper):
    earlier = make_look(cast.daughter, cast.keeper, steps={Trait.objects.get(code="surface_shade"): 4})
    day_passes(earlier)
    look = begin(cast)
    assert "checked" not in text_of(keeper.get(reverse("look-section", args=[look.pk, 1]))).split("looked-for")[0]


def test_undercolor_is_copied_to_the_other_places_with_one_touch(keeper, look):
    part = text_of(touch(keeper, look, "undercolor", "7", "shoulder"))
    assert "Also 7 at loin and rump" in part
    response = keeper.post(reverse("look-answer", args=[look.pk]) + "?trait=undercolor&same=7", **HTMX)
    assert response.status_code == 200
    assert text_of(response).count("<fieldset") == 3
    assert dict(look.answers.values_list("site", "step")) == {"shoulder": 7, "loin": 7, "rump": 7}


@pytest.mark.parametrize("step", ["0", "10", "5.5", "", "-3", "99999999999", "seven"])
def test_a_step_off_the_scale_is_refused_beside_the_scale(keeper, look, step):
    touch(keeper, look, "surface_shade", "5")
    response = touch(keeper, look, "surface_shade", step)
    assert response.status_code == 422
    assert "This step is not on the trait&#x27;s scale. Choose one of the steps shown." in text_of(response)
    assert look.answers.get().step == 5, "the earlier answer stays"


def test_an_unknown_trait_is_refused_with_a_sentence(keeper, look):
    response = touch(keeper, look, "whiskers", "5")
    assert response.status_code == 422
    assert "does not grade that trait" in text_of(response)


def test_a_trait_outside_the_looks_profile_is_refused(keeper, look):
    with pgtrigger.ignore("grading.ProfileTrait:kept_once_published", "grading.StepText:kept_once_published"):
        ProfileTrait.objects.filter(trait__code="bone").delete()
    assert touch(keeper, look, "bone", "5").status_code == 422
    assert not look.answers.exists()


def test_an_unknown_place_is_refused_with_a_sentence(keeper, look):
    response = touch(keeper, look, "undercolor", "5", "belly")
    assert response.status_code == 422
    assert "not graded at that place" in text_of(response)


def test_a_look_from_photos_locks_what_only_hands_feel(cast, keeper):
    look = begin(cast, mode="photo")
    page = text_of(keeper.get(reverse("look-section", args=[look.pk, 4])))
    locked = Trait.objects.filter(section=4, photo_can_show=False).count()
    assert page.count("A photo cannot show this.") == locked
    response = touch(keeper, look, "flesh", "5")
    assert response.status_code == 422
    assert "A photo cannot show this." in text_of(response)
    keeper.post(reverse("look-section", args=[look.pk, 4]), {"flesh": "5", "head": "6"})
    assert [answer.trait.code for answer in look.answers.all()] == ["head"]


def test_a_late_retry_is_answered_with_what_was_chosen_later(keeper, look):
    now = int(timezone.now().timestamp() * 1000)
    touch(keeper, look, "surface_shade", "6", given=now - 1000)
    part = text_of(touch(keeper, look, "surface_shade", "8", given=now - 2000))
    assert "A later answer was already saved" in part
    assert 'id="surface_shade-6" checked' in part


def test_nonsense_as_the_time_of_an_answer_does_no_harm(keeper, look):
    for given in ("soon", "9" * 40, "-1" * 9):
        assert touch(keeper, look, "surface_shade", "6", given=given).status_code == 200


def test_without_script_one_button_saves_a_section_and_goes_on(keeper, look):
    response = keeper.post(
        reverse("look-section", args=[look.pk, 2]),
        {"surface_cast": "3", "guard_hair_amount": "cannot-tell", "finding--warm_cast": "not_seen", "then": "next"},
    )
    assert response.url == reverse("look-section", args=[look.pk, 3])
    assert dict(look.answers.values_list("trait__code", "step")) == {"surface_cast": 3, "guard_hair_amount": None}
    assert look.findings.get().state == "not_seen"


def test_without_script_the_same_step_is_copied_to_open_places(keeper, look):
    response = keeper.post(
        reverse("look-section", args=[look.pk, 3]), {"undercolor--loin": "8", "same": "undercolor:8"}
    )
    assert response.url == reverse("look-section", args=[look.pk, 3])
    assert dict(look.answers.values_list("site", "step")) == {"shoulder": 8, "loin": 8, "rump": 8}


def test_a_section_with_one_wrong_answer_saves_nothing_and_keeps_what_was_given(keeper, look):
    response = keeper.post(
        reverse("look-section", args=[look.pk, 5]),
        {"condition": "7", "coat_stage": "prime", "weight": "nine stone", "note": "Calm."},
    )
    page = text_of(response)
    assert response.status_code == 422
    assert "cannot be read as a weight" in page
    assert 'id="condition-7" checked' in page
    assert 'value="nine stone"' in page
    assert "Calm." in page
    look.refresh_from_db()
    assert not look.answers.exists()
    assert (look.coat_stage, look.note, look.grams) == ("", "", None)


def test_an_older_page_without_script_does_not_overwrite_newer_answers(keeper, look):
    opened = int((timezone.now() - timedelta(minutes=5)).timestamp() * 1000)
    touch(keeper, look, "surface_shade", "6")
    keeper.post(reverse("look-section", args=[look.pk, 1]), {"surface_shade": "3", "given": opened})
    assert look.answers.get().step == 6


def test_a_white_spot_asks_where_and_says_that_it_disqualifies(keeper, look):
    url = reverse("look-finding", args=[look.pk]) + "?finding=white_spot"
    response = keeper.post(url, {"finding--white_spot": "seen", "place--white_spot": ["belly", "feet"]}, **HTMX)
    assert "Disqualifies." in text_of(response)
    look.refresh_from_db()
    assert look.disqualified
    assert look.findings.get().place == "belly, feet"
    response = keeper.post(url, {"finding--white_spot": "somewhere"}, **HTMX)
    assert response.status_code == 422
    assert look.findings.get().state == "seen"
    assert keeper.post(reverse("look-finding", args=[look.pk]) + "?finding=wings", **HTMX).status_code == 422


@pytest.mark.parametrize(
    ("name", "value", "stored"),
    [
        ("coat_stage", "prime", {"coat_stage": "prime"}),
        ("silvering_complete", "yes", {"silvering_complete": True}),
        ("silvering_complete", "no", {"silvering_complete": False}),
        ("weight", "9 lb 3 oz", {"grams": 4167}),
        ("weight", "4.17 kg", {"grams": 4170}),
        ("note", "Calm.", {"note": "Calm."}),
    ],
)
def test_each_fact_is_saved_when_it_is_given(keeper, look, name, value, stored):
    response = keeper.post(reverse("look-facts", args=[look.pk]) + f"?fact={name}", {name: value}, **HTMX)
    assert response.status_code == 200
    assert "Saved" in text_of(response)
    assert Look.objects.filter(pk=look.pk, **stored).exists()


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("coat_stage", "fluffy", "Select a valid choice"),
        ("weight", "heavy", "cannot be read as a weight"),
        ("weight", "90 kg", "not possible for a rabbit"),
    ],
)
def test_an_impossible_fact_is_refused_by_its_field(keeper, look, name, value, words):
    response = keeper.post(reverse("look-facts", args=[look.pk]) + f"?fact={name}", {name: value}, **HTMX)
    assert response.status_code == 422
    assert words in text_of(response)
    look.refresh_from_db()
    assert (look.coat_stage, look.grams) == ("", None)


def test_the_handling_caution_stands_where_hands_go_on_the_animal(keeper, look):
    assert "vet" in text_of(keeper.get(reverse("look-section", args=[look.pk, 4]))).split("site-foot")[0]


# --- after the day


def test_after_its_day_a_touch_is_refused_with_the_way_on(keeper, look):
    touch(keeper, look, "surface_shade", "6")
    day_passes(look)
    response = touch(keeper, look, "surface_shade", "7")
    assert response.status_code == 409
    assert "The day of this look is over" in text_of(response)
    assert reverse("look-supersede", args=[look.pk]) in text_of(response)
    assert keeper.post(reverse("look-section", args=[look.pk, 1]), {"surface_shade": "7"}).status_code == 409
    assert keeper.get(reverse("look-section", args=[look.pk, 1])).url == look.get_absolute_url()
    assert look.answers.get().step == 6


def test_superseding_asks_for_the_reason_and_copies_nothing(cast, keeper):
    old = make_look(cast.daughter, cast.keeper, steps={Trait.objects.get(code="surface_shade"): 4})
    day_passes(old)
    url = reverse("look-supersede", args=[old.pk])
    refused = keeper.post(url, {"mode": "in_hand", "light": "sun", "reason": " "})
    assert refused.status_code == 422
    assert "Say why this look supersedes the earlier one." in text_of(refused)
    response = keeper.post(url, {"mode": "in_hand", "light": "sun", "reason": "Steps mixed up"})
    new = Look.objects.get(supersedes=old)
    assert response.url == reverse("look-section", args=[new.pk, 1])
    assert keeper.get(url).url == reverse("look-section", args=[new.pk, 1]), "a second start goes on with the first"
    keeper.post(reverse("look-finish", args=[new.pk]))
    assert "Steps mixed up" in text_of(keeper.get(old.get_absolute_url()))
    assert "supersedes" in text_of(keeper.get(new.get_absolute_url()))
    assert keeper.get(url).url == new.get_absolute_url()


def test_a_look_of_today_is_changed_and_not_superseded(cast, keeper, look):
    actions.finish_look(look=look, by=cast.keeper)
    response = keeper.get(reverse("look-supersede", args=[look.pk]))
    assert response.url == reverse("look-section", args=[look.pk, 1])
    assert touch(keeper, look, "surface_shade", "7").status_code == 200
