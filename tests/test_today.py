"""Today: the lines of every barn of the member, one touch to log, undo, put aside; a fixed number of queries."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from herds.models import Decision, Dismissal, Herd, Kit, LitterEvent, MatingEvent, Ownership, Quarantine, Weight

from .cast import PEOPLE
from .factories import make_animal, make_herd, make_litter, make_mating

HTMX = {"HX-Request": "true"}


def ago(days):
    return timezone.localdate() - timedelta(days=days)


def keys(page):
    """The keys of the open lines, by their heading."""
    return {
        title: [line.task.key for line in lines] for barn in page.context["barns"] for _, title, lines in barn["groups"]
    }


def today(cast, who="keeper"):
    return cast.client_of(who).get(reverse("today"))


def press(cast, name, key, who="keeper", headers=HTMX, **data):
    return cast.client_of(who).post(reverse(f"today-{name}", args=[key]), data, headers=headers)


@pytest.fixture
def mating(cast):
    """Twelve days old: palpation is due today."""
    return make_mating(cast.dam, cast.other_buck, mated_on=ago(12))


@pytest.fixture
def litter(cast):
    """Born today."""
    return make_litter(cast.dam, cast.sire, kits=5, born_on=ago(0))


def test_lines_stand_under_overdue_today_and_this_week(cast, mating):
    old = make_mating(make_animal(cast.herd, "B1", sex="doe"), cast.sire, mated_on=ago(33))
    soon = make_mating(make_animal(cast.herd, "B2", sex="doe"), cast.sire, mated_on=ago(8))
    assert keys(today(cast)) == {
        "Overdue": [f"no_litter-{old.pk}", f"nest_box-{old.pk}"],
        "Today": [f"palpate-{mating.pk}"],
        "This week": [f"palpate-{soon.pk}"],
    }


def test_the_page_says_to_call_a_vet_and_what_to_do_on_hot_days(cast):
    make_mating(cast.dam, cast.sire, mated_on=ago(35))
    page = today(cast).content.decode()
    assert "Day 35 and no litter from A2 Birch: call a vet" in page
    assert "Kits born after day 34 are almost always dead." in page
    assert "Above 32 °C those that are not used to it can die." in page
    assert "a vet, the law where you live and the club&#x27;s rules come first" in page.replace("club's", "club&#x27;s")


def test_the_loader_reads_the_log_as_the_rules_need_it(cast):
    doe = make_animal(cast.herd, "B1", sex="doe")
    done = make_mating(doe, cast.sire, mated_on=ago(60))
    litter = make_litter(doe, cast.sire, mating=done, kits=4, born_on=ago(24))
    Kit.objects.filter(litter=litter, number=4).update(died_on=ago(20))
    LitterEvent.objects.create(litter=litter, kind="nest_check", on=ago(23))
    page = today(cast)
    titles = {
        line.task.kind: line.task for barn in page.context["barns"] for _, _, lines in barn["groups"] for line in lines
    }
    assert set(titles) == {"nest_box_out", "weigh"}
    assert titles["weigh"].detail.startswith("3 kits born on")
    LitterEvent.objects.create(litter=litter, kind="nest_box_out", on=ago(2))
    Weight.objects.create(herd=cast.herd, kit=litter.kits.first(), grams=350, on=ago(3))
    assert keys(today(cast)) == {}


def test_fostered_kits_count_in_the_nest_where_they_grow_up(cast, litter):
    other = make_litter(make_animal(cast.herd, "B1", sex="doe"), cast.sire, kits=2, born_on=ago(0))
    Kit.objects.filter(litter=litter, number__gte=4).update(fostered_to=other, fostered_on=ago(0))
    page = today(cast)
    labels = [line.task.answers[0].label for _, _, lines in page.context["barns"][0]["groups"] for line in lines]
    assert sorted(labels) == ["All 3 alive", "All 4 alive"]


def test_a_kit_that_went_to_another_herd_is_no_longer_counted(cast):
    litter = make_litter(cast.dam, cast.sire, kits=2, born_on=ago(50))
    gone = litter.kits.first()
    gone.animal = make_animal(cast.other_herd, "A80", born_on=litter.born_on, bred_in=cast.herd)
    gone.save()
    page = today(cast)
    weaned = [line for _, _, lines in page.context["barns"][0]["groups"] for line in lines if line.task.kind == "wean"]
    assert weaned[0].task.answers[0].label == "Weaned 1"


def test_a_dam_to_be_let_go_is_not_proposed_for_mating(cast):
    litter = make_litter(cast.dam, cast.sire, kits=2, born_on=ago(36))
    assert f"rebreed-{litter.pk}" in keys(today(cast))["Today"]
    Decision.objects.create(animal=cast.dam, verdict="let_go", by=cast.keeper)
    assert f"rebreed-{litter.pk}" not in keys(today(cast))["Today"]


def test_a_doe_that_kindled_left_or_was_given_up_is_not_listed(cast, mating):
    mating.doe = cast.daughter
    make_litter(cast.dam, cast.sire, kits=2, born_on=ago(3))
    given_up = make_mating(make_animal(cast.herd, "B1", sex="doe"), cast.sire, mated_on=ago(12), ended_on=ago(1))
    gone = make_mating(make_animal(cast.herd, "B2", sex="doe", status="died"), cast.sire, mated_on=ago(12))
    listed = [key for lines in keys(today(cast)).values() for key in lines]
    assert f"palpate-{mating.pk}" not in listed
    assert f"palpate-{given_up.pk}" not in listed
    assert f"palpate-{gone.pk}" not in listed


@pytest.mark.parametrize("answer", ["in_kindle", "empty", "unsure"])
def test_a_palpation_is_one_touch_with_todays_date(cast, mating, answer):
    page = press(cast, "done", f"palpate-{mating.pk}", answer=answer)
    assert page.status_code == 200
    assert "In the log" in page.content.decode()
    event = MatingEvent.objects.get()
    assert (event.kind, event.result, event.on, event.logged_by) == ("palpation", answer, ago(0), cast.keeper)


def test_a_palpation_without_an_answer_is_refused_in_the_row(cast, mating):
    page = press(cast, "done", f"palpate-{mating.pk}", answer="maybe")
    assert page.status_code == 422
    assert "Say what was felt: in kindle, empty, or not sure." in page.content.decode()
    assert not MatingEvent.objects.exists()


def test_pressed_twice_it_is_logged_once(cast, mating):
    press(cast, "done", f"palpate-{mating.pk}", answer="in_kindle")
    page = press(cast, "done", f"palpate-{mating.pk}", answer="in_kindle")
    assert "This is already logged for A2 Birch" in page.content.decode()
    assert MatingEvent.objects.count() == 1


def test_every_kind_of_line_is_done_and_undone(cast):
    boxed = make_mating(make_animal(cast.herd, "B1", sex="doe"), cast.sire, mated_on=ago(28))
    late = make_mating(make_animal(cast.herd, "B2", sex="doe"), cast.sire, mated_on=ago(33))
    newborn = make_litter(make_animal(cast.herd, "B3", sex="doe"), cast.sire, kits=5, born_on=ago(0))
    older = make_litter(make_animal(cast.herd, "B4", sex="doe"), cast.sire, kits=4, born_on=ago(44))
    apart = Quarantine.objects.create(animal=cast.sire, started_on=ago(30), planned_until=ago(0))
    made = {
        f"nest_box-{boxed.pk}": lambda: boxed.events.filter(kind="nest_box", on=ago(0)),
        f"no_litter-{late.pk}": lambda: type(late).objects.filter(pk=late.pk, ended_on=ago(0)),
        f"first_check-{newborn.pk}": lambda: newborn.events.filter(kind="nest_check", alive=5),
        f"nest_box_out-{older.pk}": lambda: older.events.filter(kind="nest_box_out"),
        f"wean-{older.pk}": lambda: older.events.filter(kind="weaned", alive=4),
        f"quarantine-{apart.pk}": lambda: Quarantine.objects.filter(pk=apart.pk, ended_on=ago(0)),
    }
    for key, found in made.items():
        assert not found().exists(), key
        page = press(cast, "done", key)
        assert page.status_code == 200, key
        assert "Undo" in page.content.decode(), key
        assert found().exists(), key
        page = press(cast, "undo", key)
        assert "In the log" not in page.content.decode(), key
        assert not found().exists(), key


def test_undo_takes_back_nothing_of_another_day(cast, mating):
    MatingEvent.objects.create(mating=mating, kind="palpation", result="unsure", on=ago(2))
    press(cast, "undo", f"palpate-{mating.pk}")
    assert MatingEvent.objects.count() == 1


def test_a_line_answered_on_its_own_page_has_no_button(cast, litter):
    page = press(cast, "done", f"rebreed-{litter.pk}")
    assert page.status_code == 200
    assert "This line is answered on its own page." in page.content.decode()


def test_a_line_is_put_aside_and_taken_back(cast, mating):
    key = f"palpate-{mating.pk}"
    for _ in range(2):
        assert "Put aside" in press(cast, "dismiss", key).content.decode()
    assert Dismissal.objects.count() == 1
    page = today(cast)
    assert keys(page) == {}
    assert [line.task.key for line in page.context["barns"][0]["aside"]] == [key]
    assert "Palpate A2 Birch" in press(cast, "restore", key).content.decode()
    assert keys(today(cast)) == {"Today": [key]}


@pytest.mark.parametrize(("name", "made"), [("done", MatingEvent), ("dismiss", Dismissal)])
def test_without_script_the_press_leads_back_to_the_list(cast, mating, name, made):
    answer = press(cast, name, f"palpate-{mating.pk}", headers=None, answer="in_kindle")
    assert answer.url == reverse("today")
    assert made.objects.count() == 1


@pytest.mark.parametrize("name", ["done", "undo", "dismiss", "restore"])
@pytest.mark.parametrize("who", PEOPLE)
def test_only_those_who_keep_the_herd_press_its_lines(cast, mating, name, who):
    expected = {"keeper": 200, "co_owner": 200, "visitor": 302}.get(who, 404)
    assert press(cast, name, f"palpate-{mating.pk}", who=who, answer="empty").status_code == expected
    assert MatingEvent.objects.exists() == (name == "done" and expected == 200)
    assert Dismissal.objects.exists() == (name == "dismiss" and expected == 200)


@pytest.mark.parametrize("who", PEOPLE)
def test_everybody_sees_the_lines_of_their_own_barns_only(cast, mating, who):
    page = today(cast, who)
    assert page.status_code == (302 if who == "visitor" else 200)
    assert ("Palpate A2 Birch" in page.content.decode()) == (who in ("keeper", "co_owner"))


def test_a_grant_with_the_log_shows_nothing_on_the_mentors_today(cast, mating):
    cast.herd.grants.filter(mentor=cast.mentor).update(with_log=True)
    assert "A2 Birch" not in today(cast, "mentor").content.decode()


@pytest.mark.parametrize("key", ["palpate-999999", "palpate", "palpate-x", "dance-1", "weigh-1-99999999999999999999"])
def test_a_line_that_is_none_is_not_there(cast, key):
    assert press(cast, "done", key).status_code == 404


def test_a_member_without_a_herd_is_told_where_to_begin(cast):
    Ownership.objects.filter(member=cast.fellow).delete()
    assert "No herd of yours yet" in today(cast, "fellow").content.decode()


def test_each_barn_has_its_own_heading(cast, mating):
    hill = make_herd(cast.keeper, name="Hill shed", prefix="Hill")
    make_mating(make_animal(hill, "H1", sex="doe"), cast.sire, mated_on=ago(12))
    page = today(cast)
    assert [barn["herd"].name for barn in page.context["barns"]] == ["Ashgrove", "Hill shed"]
    assert page.context["several"]
    assert Herd.objects.count() == 3


def test_today_costs_the_same_for_2_litters_and_for_30(cast, django_assert_num_queries):
    client = cast.client_of("keeper")
    client.get(reverse("today"))
    for count in (2, 28):
        for number in range(count):
            doe = make_animal(cast.herd, f"C{count}-{number}", sex="doe")
            litter = make_litter(doe, cast.sire, kits=6, born_on=ago(number % 50))
            LitterEvent.objects.create(litter=litter, kind="nest_check", on=ago(0))
            Weight.objects.create(herd=cast.herd, litter=litter, grams=2000, on=ago(0))
            other = make_animal(cast.herd, f"D{count}-{number}", sex="doe")
            MatingEvent.objects.create(
                mating=make_mating(other, cast.sire, mated_on=ago(number % 30)), kind="palpation", result="unsure"
            )
        with django_assert_num_queries(21):  # five of them are those of reviews, two the season's plan
            client.get(reverse("today"))
