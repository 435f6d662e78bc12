"""The look's pages: who may, how a look begins and ends, and what a page costs."""

import uuid
from datetime import timedelta

import pgtrigger
import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from clubsite.members.models import Club
from grading.actions import looks as actions
from grading.models import Look, LookFinding, Trait
from herds.models import Grant

from .cast import PEOPLE
from .factories import make_animal, make_look
from .looking import begin, day_passes, text_of, touch

pytestmark = pytest.mark.django_db


@pytest.fixture
def look(cast):
    return begin(cast)


@pytest.fixture
def keeper(cast):
    Club.current()  # made on a club's first page, and then there
    return cast.client_of("keeper")


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
    with pgtrigger.ignore("grading.BreedProfile:edition_kept"):
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


@pytest.mark.parametrize(("section", "queries"), [(1, 9), (3, 9), (5, 12)])
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
    with django_assert_num_queries(15):
        keeper.get(look.get_absolute_url())


def test_the_next_animal_costs_the_same_in_a_large_herd(cast, keeper, django_assert_num_queries):
    look = make_look(cast.daughter, cast.keeper)
    with django_assert_num_queries(15):
        keeper.get(look.get_absolute_url())
    for _ in range(20):
        make_animal(cast.herd)
    with django_assert_num_queries(15):
        keeper.get(look.get_absolute_url())


def test_findings_start_as_not_checked(keeper, look):
    page = text_of(keeper.get(reverse("look-section", args=[look.pk, 3])))
    assert 'id="finding-white_spot-not_checked" checked' in page
    assert not LookFinding.objects.exists()


def test_the_timing_command_prints_its_figures_and_leaves_nothing(db, capsys):
    call_command("time_answer", times=10)
    printed = capsys.readouterr().out
    assert "the whole request" in printed
    assert "the bare SQL" in printed
    assert not Look.objects.exists()
    with pytest.raises(CommandError, match="at least 10"):
        call_command("time_answer", times=1)
