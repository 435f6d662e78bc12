"""The look's screens and pages: who may, what each touch answers, what is refused, and what a page costs."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import Club
from grading.actions import looks as actions
from grading.models import Look, LookFinding, ProfileTrait, Trait
from herds.models import Grant

from .cast import PEOPLE
from .factories import make_animal, make_look

pytestmark = pytest.mark.django_db

HTMX = {"HTTP_HX_REQUEST": "true"}


@pytest.fixture
def look(cast):
    return begin(cast)


@pytest.fixture
def keeper(cast):
    Club.current()  # made on a club's first page, and then there
    return cast.client_of("keeper")


def begin(cast, by=None, animal=None, **given):
    given.setdefault("mode", "in_hand")
    given.setdefault("light", "open_shade")
    return actions.start_look(animal=animal or cast.daughter, by=by or cast.keeper, **given)


def address(look, code, site="", **more):
    query = f"?trait={code}" + (f"&site={site}" if site else "")
    return reverse("look-answer", args=[look.pk]) + query


def touch(client, look, code, step, site="", **more):
    """One touch on a scale, as the screen sends it."""
    name = f"{code}--{site}" if site else code
    return client.post(address(look, code, site), {name: step, **more}, **HTMX)


def day_passes(look):
    Look.objects.filter(pk=look.pk).update(editable_until=timezone.now() - timedelta(seconds=1))
    look.refresh_from_db()


def text_of(response):
    return response.content.decode()


# --- who may

GRADERS = {"keeper": 200, "co_owner": 200, "mentor": 200, "visitor": 302}


@pytest.mark.parametrize("who", PEOPLE)
def test_the_herds_keepers_and_its_mentor_begin_looks_and_nobody_else(cast, who):
    response = cast.client_of(who).get(reverse("look-create", args=[cast.daughter.pk]))
    assert response.status_code == GRADERS.get(who, 404)


@pytest.mark.parametrize("who", PEOPLE)
def test_only_its_observer_opens_and_changes_a_look(cast, who):
    look = begin(cast)
    client = cast.client_of(who)
    sees = {"keeper": 200, "visitor": 302}.get(who, 404)
    changes = {"keeper": 200, "visitor": 302}.get(who, 404)
    redirects = {"keeper": 302, "visitor": 302}.get(who, 404)
    assert client.get(reverse("look-section", args=[look.pk, 1])).status_code == sees
    assert client.get(reverse("look-remove", args=[look.pk])).status_code == sees
    assert touch(client, look, "surface_shade", "7").status_code == changes
    assert (
        client.post(reverse("look-finding", args=[look.pk]) + "?finding=stain", {"finding--stain": "seen"}).status_code
        == changes
    )
    assert client.post(reverse("look-facts", args=[look.pk]) + "?fact=note", {"note": "Calm."}).status_code == changes
    assert client.post(reverse("look-section", args=[look.pk, 2]), {"surface_cast": "3"}).status_code == redirects
    assert client.post(reverse("look-finish", args=[look.pk])).status_code == redirects
    assert look.answers.count() == (2 if who == "keeper" else 0)
    assert look.findings.count() == (1 if who == "keeper" else 0)


@pytest.mark.parametrize("shared", [False, True])
@pytest.mark.parametrize("who", PEOPLE)
def test_looks_are_read_by_the_herd_its_mentors_and_by_others_when_shared(cast, who, shared):
    cast.herd.shares_looks = shared
    cast.herd.save()
    look = make_look(cast.daughter, cast.keeper, steps={Trait.objects.get(code="surface_shade"): 7}, note="Bit me.")
    page = cast.client_of(who).get(reverse("look-detail", args=[look.pk]))
    inside = who in ("keeper", "co_owner", "mentor")
    assert page.status_code == (302 if who == "visitor" else 200 if inside or shared else 404)
    listed = cast.client_of(who).get(reverse("look-list", args=[cast.daughter.pk]))
    assert listed.status_code == (302 if who == "visitor" else 200)
    if who != "visitor":
        assert (reverse("look-detail", args=[look.pk]) in text_of(listed)) == (inside or shared)
    if page.status_code == 200:
        assert ("Bit me." in text_of(page)) == inside, "a note is not shared with the looks"


@pytest.mark.parametrize("who", PEOPLE)
def test_every_member_reads_the_breed_profiles(cast, who):
    client = cast.client_of(who)
    profile = begin(cast).profile
    assert client.get(reverse("profile-list")).status_code == (302 if who == "visitor" else 200)
    page = client.get(reverse("profile-detail", args=[profile.pk]))
    assert page.status_code == (302 if who == "visitor" else 200)
    if who != "visitor":
        assert "Hindquarters" in text_of(page)
        assert "Unofficial" in text_of(page)


@pytest.mark.parametrize("who", PEOPLE)
def test_only_its_observer_supersedes_a_look(cast, who):
    look = make_look(cast.daughter, cast.keeper)
    day_passes(look)
    response = cast.client_of(who).get(reverse("look-supersede", args=[look.pk]))
    assert response.status_code == {"keeper": 200, "visitor": 302}.get(who, 404)


def test_an_unpublished_profile_is_not_shown(cast, keeper):
    look = begin(cast)
    look.profile.published_at = None
    look.profile.save()
    assert keeper.get(reverse("profile-detail", args=[look.profile_id])).status_code == 404


def test_a_grant_revoked_while_the_page_is_open_saves_nothing_and_shows_nothing(cast):
    look = begin(cast, by=cast.mentor)
    client = cast.client_of("mentor")
    assert touch(client, look, "surface_shade", "7").status_code == 200
    Grant.objects.filter(mentor=cast.mentor).update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    answers = touch(client, look, "surface_cast", "3")
    assert answers.status_code == 404
    assert "This herd is no longer open to you." in text_of(answers)
    assert "scale" not in text_of(answers)
    assert answers["HX-Retarget"] == "#look"
    whole = client.post(reverse("look-section", args=[look.pk, 2]), {"surface_cast": "3"})
    assert whole.status_code == 404
    assert "This herd is no longer open to you." in text_of(whole)
    assert client.get(reverse("look-section", args=[look.pk, 1])).status_code == 404
    assert client.get(reverse("look-detail", args=[look.pk])).status_code == 404
    assert look.answers.count() == 1


# --- beginning


def test_two_touches_begin_a_look_in_hand_today(cast, keeper):
    url = reverse("look-create", args=[cast.daughter.pk])
    key = str(uuid.uuid4())
    for _ in range(2):
        response = keeper.post(url, {"mode": "in_hand", "light": "overcast", "submission_key": key})
    look = Look.objects.get()
    assert response.url == reverse("look-section", args=[look.pk, 1])
    assert (look.light, look.role, look.observed_on) == ("overcast", "keeper", timezone.localdate())


def test_the_light_of_todays_last_look_is_chosen_already(cast, keeper, look):
    page = keeper.get(reverse("look-create", args=[cast.dam.pk]))
    assert page.context["form"]["light"].initial == "open_shade"
    assert keeper.get(reverse("look-create", args=[cast.daughter.pk])).context["todays"] == [look]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"light": ""}, "This field is required."),
        ({"mode": "by_ear"}, "Select a valid choice"),
        ({"role": "mentor"}, "Select a valid choice"),
        ({"observed_on": "2099-01-01"}, "lies in the future"),
        ({"observed_on": "31 June"}, "Enter a valid date."),
    ],
)
def test_a_wrong_beginning_keeps_what_was_given_and_begins_nothing(cast, keeper, given, words):
    response = keeper.post(
        reverse("look-create", args=[cast.daughter.pk]), {"mode": "photo", "light": "overcast", **given}
    )
    assert response.status_code == 422
    assert words in text_of(response)
    assert not Look.objects.exists()


def test_a_second_open_look_is_refused_with_the_way_to_the_first(cast, keeper, look):
    response = keeper.post(reverse("look-create", args=[cast.daughter.pk]), {"mode": "in_hand", "light": "sun"})
    assert response.status_code == 422
    assert "You have an unfinished look of this animal. Finish it first." in text_of(response)
    assert reverse("look-section", args=[look.pk, 1]) in text_of(response)


def test_only_the_herds_own_people_are_offered_the_keepers_part(cast):
    for who, parts in (("keeper", ["keeper", "judge"]), ("mentor", ["mentor", "judge"])):
        page = cast.client_of(who).get(reverse("look-create", args=[cast.daughter.pk]))
        assert [value for value, _ in page.context["form"].fields["role"].choices] == parts


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


# --- finishing


def test_finishing_says_what_is_open_and_refuses_nothing(keeper, look):
    touch(keeper, look, "surface_shade", "6")
    response = keeper.post(
        reverse("look-section", args=[look.pk, 1]), {"surface_shade": "6", "then": "finish"}, follow=True
    )
    assert "33 of 34 answers are open." in text_of(response)
    look.refresh_from_db()
    assert look.current


def test_after_finishing_the_page_tells_what_changed_and_who_is_next(cast, keeper):
    surface, undercolor = Trait.objects.get(code="surface_shade"), Trait.objects.get(code="undercolor")
    earlier = make_look(
        cast.daughter,
        cast.keeper,
        observed_on=timezone.localdate() - timedelta(days=30),
        steps={surface: 6, (undercolor, "loin"): 8},
    )
    day_passes(earlier)
    look = begin(cast)
    touch(keeper, look, "surface_shade", "7")
    touch(keeper, look, "undercolor", "7", "loin")
    page = text_of(keeper.post(reverse("look-finish", args=[look.pk]), follow=True))
    assert "(30 days later): surface brighter, from 6 to 7; undercolor paler, from 8 to 7." in page
    assert 'aria-label="From surface 6.0, undercolor 8.0 to surface 7.0, undercolor 7.0"' in page
    assert "The same numbers as a table" in page
    assert "2 of this herd not looked at today" in page
    assert "silvering not told and coat stage not told" in page


def test_what_changed_is_told_only_of_looks_the_reader_may_see(cast):
    cast.other_herd.shares_looks = True
    cast.other_herd.save()
    surface = Trait.objects.get(code="surface_shade")
    make_look(cast.other_buck, cast.fellow, steps={surface: 4}, finished=False)
    look = make_look(cast.other_buck, cast.fellow, steps={surface: 7}, mode="photo")
    page = cast.client_of("keeper").get(look.get_absolute_url())
    assert page.context["earlier"] is None


def test_the_next_animal_is_one_not_looked_at_today_until_none_is_left(cast, keeper):
    seen = []
    animal = cast.daughter
    while animal is not None:
        url = reverse("look-create", args=[animal.pk])
        keeper.post(url, {"mode": "in_hand", "light": "sun"})
        look = Look.objects.get(animal=animal)
        seen.append(animal)
        page = keeper.post(reverse("look-finish", args=[look.pk]), follow=True)
        animal = page.context["after"]
    assert sorted(each.pk for each in seen) == sorted([cast.sire.pk, cast.dam.pk, cast.daughter.pk])
    assert "You have looked at every animal of this herd today." in text_of(page)


def test_a_look_can_be_taken_back_before_it_is_finished(cast, keeper, look):
    keeper.post(reverse("look-remove", args=[look.pk]))
    assert not Look.objects.exists()
    finished = make_look(cast.daughter, cast.keeper)
    keeper.post(reverse("look-remove", args=[finished.pk]))
    assert Look.objects.get() == finished


def test_weights_are_hidden_from_those_who_only_share_looks(cast):
    cast.herd.shares_looks = True
    cast.herd.save()
    look = make_look(cast.daughter, cast.keeper, grams=4170)
    assert "9 lb" in text_of(cast.client_of("co_owner").get(look.get_absolute_url()))
    assert "9 lb" not in text_of(cast.client_of("fellow").get(look.get_absolute_url()))
    assert "9 lb" not in text_of(cast.client_of("mentor").get(look.get_absolute_url())), "the grant is without the log"


def test_surface_is_never_without_undercolor_in_the_list(cast, keeper):
    make_look(cast.daughter, cast.keeper, steps={Trait.objects.get(code="surface_shade"): 7})
    page = text_of(keeper.get(reverse("look-list", args=[cast.daughter.pk])))
    assert page.count('class="coat"') == 1
    assert "undercolor not seen" in page


# --- what pages cost


def test_saving_one_answer_costs_nine_queries(keeper, look, django_assert_num_queries):
    # session, member, look; traits, texts, answers; savepoint, the answer itself, release
    with django_assert_num_queries(9):
        touch(keeper, look, "surface_shade", "7")
    with django_assert_num_queries(9):
        touch(keeper, look, "undercolor", "7", "loin")


@pytest.mark.parametrize(("section", "queries"), [(1, 9), (3, 9), (5, 9)])
def test_a_section_costs_the_same_empty_or_answered(keeper, look, django_assert_num_queries, section, queries):
    url = reverse("look-section", args=[look.pk, section])
    with django_assert_num_queries(queries):
        keeper.get(url)
    traits = Trait.objects.filter(section=section)
    answers = [(trait, site, 5) for trait in traits for site in trait.sites or [""]]
    actions.save_answers(look=look, answers=answers, by=look.observer)
    with django_assert_num_queries(queries):
        keeper.get(url)


def many_looks(cast, number):
    surface, undercolor = Trait.objects.get(code="surface_shade"), Trait.objects.get(code="undercolor")
    for back in range(number):
        day = timezone.localdate() - timedelta(days=back)
        steps = {surface: 4 + back % 5, (undercolor, "loin"): 5 + back % 4}
        look = make_look(cast.daughter, cast.keeper, observed_on=day, steps=steps)
    return look


@pytest.mark.parametrize("number", [3, 30])
def test_the_list_of_looks_costs_the_same_for_3_and_30(cast, keeper, django_assert_num_queries, number):
    many_looks(cast, number)
    with django_assert_num_queries(9):
        page = keeper.get(reverse("look-list", args=[cast.daughter.pk]))
    assert len(page.context["page"].object_list) == number


@pytest.mark.parametrize("number", [3, 30])
def test_a_looks_page_costs_the_same_however_many_there_are(cast, keeper, django_assert_num_queries, number):
    look = many_looks(cast, number)
    with django_assert_num_queries(12):
        keeper.get(look.get_absolute_url())


def test_the_next_animal_costs_the_same_in_a_large_herd(cast, keeper, django_assert_num_queries):
    look = make_look(cast.daughter, cast.keeper)
    with django_assert_num_queries(12):
        keeper.get(look.get_absolute_url())
    for _ in range(20):
        make_animal(cast.herd)
    with django_assert_num_queries(12):
        keeper.get(look.get_absolute_url())


def test_findings_start_as_not_checked(keeper, look):
    page = text_of(keeper.get(reverse("look-section", args=[look.pk, 3])))
    assert 'id="finding-white_spot-not_checked" checked' in page
    assert not LookFinding.objects.exists()
