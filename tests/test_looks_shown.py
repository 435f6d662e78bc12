"""What looks show elsewhere: the herd's list, the animal's page, the words of change and the small plots."""

import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from django.contrib.auth.models import AnonymousUser
from django.test import RequestFactory
from django.utils import timezone

from grading.look_changes import changed_words, goal_words, why_provisional
from grading.look_plots import pair_plot, time_plot
from grading.models import Look, Trait
from grading.panel_looks import look_url, looks_panel, with_last_look
from herds.models import Animal, Grant

from .factories import make_animal, make_look

DAY = date(2026, 5, 3)
GOALS = {"surface": (7, 8), "undercolor": (7, 9), "reach": (9, 10)}


def unsaved(**given):
    """A look that is only in memory, as the words and plots need it."""
    given = {
        "observed_on": DAY, "observer_id": 1, "mode": "in_hand", "light": "sun", "coat_stage": "prime",
        "silvering_complete": True, "surface": 7.0, "undercolor": 7.0, "reach": 9.0,
    } | given  # fmt: skip
    look = Look(**given)
    look.__dict__["provisional"] = False  # the database's word, which an unsaved look has not
    return look


# --- what changed, in words


def test_the_change_names_both_shades_and_the_days_between():
    later = unsaved(observed_on=DAY + timedelta(days=76), surface=8.0, undercolor=6.333, reach=9.0)
    assert changed_words(unsaved(), later) == (
        "Since the look of 3 May 2026 (76 days later): surface brighter, from 7 to 8; undercolor paler, from 7 to 6.3; "
        "reach unchanged at 9 tenths."
    )


def test_a_darker_surface_and_a_darker_undercolor_are_both_called_darker():
    words = changed_words(unsaved(), unsaved(observed_on=DAY + timedelta(days=1), surface=6.0, undercolor=8.0))
    assert "(1 day later): surface darker, from 7 to 6; undercolor darker, from 7 to 8" in words


def test_what_one_look_cannot_tell_is_not_compared():
    words = changed_words(unsaved(undercolor=None, reach=None), unsaved(surface=8.0))
    assert "(the same day): surface brighter, from 7 to 8." in words
    nothing = changed_words(unsaved(surface=None, undercolor=None, reach=None), unsaved())
    assert "nothing to compare" in nothing


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"observer_id": 2}, "another grader made it"),
        ({"mode": "photo"}, "it was made in hand and this one from photos"),
        ({"coat_stage": "adult_molt"}, "the coat was prime then and in adult molt now"),
        ({"light": "lamp"}, "the light was another"),
    ],
)
def test_what_besides_the_coat_may_differ_is_said(given, words):
    assert f"Part of the difference may be the looking: {words}." in changed_words(unsaved(), unsaved(**given))


def test_nothing_is_held_against_two_like_looks():
    assert "Part of the difference" not in changed_words(unsaved(), unsaved(surface=8.0))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "Surface, undercolor and reach are inside the goal."),
        ({"surface": 5.0}, "Undercolor and reach are inside the goal; surface is 2 steps darker than the goal."),
        ({"undercolor": 5.5, "reach": 8.0},
         "Surface is inside the goal; undercolor is 1.5 steps paler than the goal; "
         "reach is 1 tenth less deep than the goal."),
        ({"surface": 9.0, "undercolor": None, "reach": None}, "Surface is 1 step brighter than the goal."),
        ({"surface": None, "undercolor": None, "reach": None}, ""),
    ],
)  # fmt: skip
def test_the_place_beside_the_goal_in_words(given, words):
    assert goal_words(unsaved(**given), GOALS) == words


def test_what_only_the_leeway_covers_is_called_faded_and_not_hidden():
    leeway = GOALS | {"undercolor": (6, 9)}
    words = goal_words(unsaved(undercolor=6.0), leeway, GOALS)
    assert words == "Surface and reach are inside the goal; undercolor has faded, within the leeway for seniors."


@pytest.mark.django_db
def test_a_seniors_faded_undercolor_is_told_on_its_page(cast):
    look = make_look(cast.dam, cast.keeper, steps={(Trait.objects.get(code="undercolor"), "loin"): 6})
    page = cast.client_of("keeper").get(look.get_absolute_url()).content.decode()
    assert page.count("within the leeway for seniors") == 2, "in the sentence and beside the step"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, ""),
        ({"silvering_complete": False}, "silvering not complete"),
        ({"silvering_complete": None, "coat_stage": ""}, "silvering not told and coat stage not told"),
        ({"coat_stage": "juvenile_molt"}, "coat in juvenile molt"),
        ({"coat_stage": "intermediate"}, "coat still intermediate"),
        ({"coat_stage": "past_prime"}, "coat past prime"),
    ],
)
def test_why_a_look_is_provisional(cast, given, words):
    assert why_provisional(make_look(cast.daughter, cast.keeper, **given)) == words


# --- plots


def parts_of(svg, tag):
    return ET.fromstring(str(svg)).iter(tag)  # noqa: S314 - our own drawing


def test_the_pair_plot_puts_brighter_to_the_right_and_darker_undercolor_up():
    svg = pair_plot(unsaved(surface=5.0, undercolor=5.0), unsaved(surface=7.0, undercolor=8.0), GOALS)
    (x1, y1), (x2, y2) = [(float(dot.get("cx")), float(dot.get("cy"))) for dot in parts_of(svg, "circle")]
    assert x2 > x1
    assert y2 < y1
    goal = next(box for box in parts_of(svg, "rect") if box.get("stroke-dasharray"))
    left, top, width, height = (float(goal.get(name)) for name in ("x", "y", "width", "height"))
    assert left < x2 < left + width
    assert top < y2 < top + height
    assert not left < x1 < left + width


def test_no_plot_without_undercolor_beside_the_surface():
    assert pair_plot(None, unsaved(undercolor=None), GOALS) is None
    assert pair_plot(unsaved(surface=None), unsaved(), GOALS) is None
    assert time_plot([unsaved(surface=None, undercolor=None)], GOALS, None) is None
    assert time_plot([], GOALS, None) is None


def test_plots_carry_no_style_and_no_script():
    looks = [unsaved(observed_on=DAY + timedelta(days=30 * i), surface=4.0 + i) for i in range(5)]
    for svg in (pair_plot(looks[0], looks[1], GOALS), pair_plot(None, looks[1], {}), time_plot(looks, GOALS, DAY)):
        assert "style=" not in svg
        assert "script" not in svg
        ET.fromstring(str(svg))  # noqa: S314 - well-formed, or this raises


@pytest.mark.django_db
def test_the_plot_over_time_draws_surface_and_undercolor_for_every_look(cast):
    trait = Trait.objects.get(code="surface_shade")
    both = {trait: 6, (Trait.objects.get(code="undercolor"), "loin"): 8}
    looks = [
        make_look(cast.daughter, cast.keeper, steps={trait: 7}),
        make_look(cast.daughter, cast.keeper, mode="photo", coat_stage="adult_molt", steps=both),
    ]
    svg = time_plot(looks, GOALS, cast.daughter.born_on)
    assert len(list(parts_of(svg, "circle"))) == 1, "in hand, surface only"
    squares = [box for box in parts_of(svg, "rect") if box.get("width") == "10"]
    assert len(squares) == 2
    assert {box.get("fill") for box in squares} == {"#fdfbf6"}, "provisional is hollow"


# --- the herd's list


def looked(animal, observer, surface, undercolor, **given):
    steps = {
        Trait.objects.get(code="surface_shade"): surface,
        (Trait.objects.get(code="undercolor"), "loin"): undercolor,
    }
    return make_look(animal, observer, steps=steps, **given)


@pytest.mark.django_db
def test_the_herds_list_shows_the_last_look_that_counts(cast):
    today = timezone.localdate()
    looked(cast.daughter, cast.keeper, 6, 8, observed_on=today - timedelta(days=5))
    looked(cast.daughter, cast.mentor, 7, 7, observed_on=today - timedelta(days=1), coat_stage="adult_molt")
    looked(cast.daughter, cast.keeper, 4, 4, finished=False)
    animal = with_last_look(Animal.objects.filter(pk=cast.daughter.pk), cast.keeper).get()
    assert animal.last_look["surface"] == 7
    assert animal.last_look["undercolor"] == 7
    assert animal.last_look["reach"] is None
    assert animal.last_look["provisional"] is True
    yesterday = today - timedelta(days=1)
    assert animal.last_look["day"] == f"{yesterday.day} {yesterday:%B %Y}"


@pytest.mark.django_db
def test_the_herds_list_sorts_by_surface_and_by_undercolor(cast):
    for animal, surface, undercolor in ((cast.sire, 4, 9), (cast.dam, 8, 5), (cast.daughter, 6, 7)):
        looked(animal, cast.keeper, surface, undercolor)
    animals = with_last_look(Animal.objects.filter(herd=cast.herd), cast.keeper)
    assert list(animals.order_by("last_surface")) == [cast.sire, cast.daughter, cast.dam]
    assert list(animals.order_by("last_undercolor")) == [cast.dam, cast.daughter, cast.sire]


@pytest.mark.django_db
def test_the_herds_list_shows_looks_only_to_those_who_may_see_them(cast):
    looked(cast.daughter, cast.keeper, 6, 8)
    seen = {}
    for who in ("keeper", "co_owner", "mentor", "fellow", "revoked_mentor", "registrar", "officer", "grader"):
        animal = with_last_look(Animal.objects.filter(pk=cast.daughter.pk), getattr(cast, who)).get()
        seen[who] = animal.last_look is not None
    assert [who for who, sees in seen.items() if sees] == ["keeper", "co_owner", "mentor"]
    cast.herd.shares_looks = True
    cast.herd.save()
    assert with_last_look(Animal.objects.filter(pk=cast.daughter.pk), cast.fellow).get().last_look["surface"] == 6
    Grant.objects.all().delete()
    cast.herd.shares_looks = False
    cast.herd.save()
    assert with_last_look(Animal.objects.filter(pk=cast.daughter.pk), cast.mentor).get().last_look is None


@pytest.mark.django_db
def test_the_herds_list_asks_once_for_all_last_looks(cast, django_assert_num_queries):
    for _ in range(5):
        looked(make_animal(cast.herd), cast.keeper, 6, 8)
    animals = with_last_look(Animal.objects.filter(herd=cast.herd), cast.keeper)
    with django_assert_num_queries(1):
        assert sum(1 for animal in animals if animal.last_look) == 5


# --- the animal's page


def asked_by(member):
    request = RequestFactory().get("/")
    request.user = member
    return request


@pytest.mark.django_db
def test_the_panel_is_left_out_for_those_who_neither_see_nor_make_looks(cast):
    looked(cast.daughter, cast.keeper, 6, 8)
    assert looks_panel(asked_by(cast.keeper), cast.daughter)["newest"].surface == 6
    assert looks_panel(asked_by(cast.mentor), cast.daughter)["plot"] is not None
    assert looks_panel(asked_by(cast.fellow), cast.daughter) is None
    assert looks_panel(asked_by(cast.revoked_mentor), cast.daughter) is None
    assert looks_panel(asked_by(cast.keeper), cast.dam)["newest"] is None, "the keeper is invited to look"


@pytest.mark.django_db
def test_the_button_is_for_those_who_may_grade(cast):
    offered = {
        who: look_url(asked_by(getattr(cast, who)), cast.daughter) is not None
        for who in ("keeper", "co_owner", "mentor", "fellow", "revoked_mentor", "registrar", "officer", "grader")
    }
    assert [who for who, yes in offered.items() if yes] == ["keeper", "co_owner", "mentor"]
    assert look_url(asked_by(AnonymousUser()), cast.daughter) is None
