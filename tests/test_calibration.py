"""The yearly calibration: consents, a set and its window, what the answers tell, and what cannot be told."""

from datetime import timedelta

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from grading.actions import calibration as actions
from grading.calibrating import choosing, words
from grading.models import (
    CalibrationAnswer,
    CalibrationItem,
    CalibrationSet,
    GraderResult,
    ItemTruth,
    Look,
    Photo,
    PhotoConsent,
    Seat,
    SetState,
    View,
)

from .calibration_making import answered, eyes, make_set, opened, traits_of, truths, worked_out
from .factories import make_member
from .looking import HTMX, begin, text_of

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


def touched(client, of_set, code, step):
    """One touch on a scale of the first place."""
    url = reverse("calibration-answer", args=[of_set.pk, 1])
    return client.post(f"{url}?trait={code}", {code: step}, **HTMX)


def result(seat, code):
    return GraderResult.objects.get(seat=seat, trait__code=code)


# --- putting a set together ------------------------------------------------------------------------------------------


def test_a_set_shows_each_animal_once_and_some_again_a_third_of_the_set_later(cast):
    of_set = make_set(cast, animals=12, doubles=4)
    items = list(of_set.items.all())
    assert [item.position for item in items] == list(range(1, 17))
    doubles = [item for item in items if item.again_of_id]
    assert len(doubles) == 4
    by_pk = {item.pk: item for item in items}
    for double in doubles:
        first = by_pk[double.again_of_id]
        assert double.position - first.position >= 4
        assert set(double.photos.all()) == set(first.photos.all())
    animals = Photo.objects.filter(calibration_items__of=of_set).values_list("animal", flat=True).distinct()
    assert len(set(animals)) == 12


def test_the_proposal_covers_the_scale_before_it_fills_its_middle():
    rng = np.random.default_rng(3)
    middle = [choosing.Candidate(n, (), 5.0, 5.0) for n in range(40)]
    ends = [choosing.Candidate(100 + n, (), float(step), 5.0) for n, step in enumerate((1, 2, 3, 7, 8, 9))]
    chosen = choosing.proposed([*middle, *ends], 12, rng)
    assert {each.animal for each in ends} <= {each.animal for each in chosen}
    assert len(chosen) == 12


@pytest.mark.parametrize(("count", "doubles"), [(6, 3), (24, 6), (100, 40), (7, 0)])
def test_doubles_are_never_neighbours(count, doubles):
    order = choosing.arranged(count, doubles, np.random.default_rng(count))
    assert sorted(set(order)) == list(range(count))
    assert len(order) == count + min(doubles, count // 2)
    for place in range(count):
        at = [i for i, each in enumerate(order) if each == place]
        assert len(at) == 1 or at[1] - at[0] >= count // 3


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"closes_on": TODAY() - timedelta(days=1)}, "This day is past"),
        ({"closes_on": TODAY() + timedelta(days=400)}, "120 days at most"),
        ({"opens_on": TODAY() + timedelta(days=30)}, "closes before it opens"),
        ({"traits": []}, "Choose what is to be graded"),
        ({"codes": ("surface_shade",)}, "graded together"),
        ({"codes": ("surface_shade", "undercolor", "loin_width")}, "A photo cannot show loin width"),
        ({"animals": 3}, "a set needs 6 at least"),
    ],
)
def test_a_set_that_cannot_be_is_refused_in_a_sentence(cast, change, sentence):
    with pytest.raises(ValidationError, match=sentence):
        make_set(cast, **change)
    assert not CalibrationSet.objects.exists()


def test_an_open_set_keeps_its_photos_and_a_second_one_waits(cast):
    of_set = opened(make_set(cast), cast)
    item = of_set.items.first()
    for step in (actions.replace_item, actions.remove_item):
        with pytest.raises(ValidationError, match="cannot be done any more"):
            step(item=item, by=cast.officer)
    with pytest.raises(Exception, match="open"):
        CalibrationItem.objects.filter(pk=item.pk).update(position=99)


def test_a_second_set_of_the_breed_is_not_opened_beside_the_first(cast):
    opened(make_set(cast), cast)
    second = make_set(cast, first=30)
    with pytest.raises(ValidationError, match="Another set of this breed is open"):
        opened(second, cast)


def test_replacing_and_removing_keep_doubles_in_step(cast):
    of_set = make_set(cast, animals=7, doubles=2)
    double = of_set.items.filter(again_of__isnull=False).first()
    of_set_photos = set(double.photos.all())
    with pytest.raises(ValidationError, match="No other animal"):
        actions.replace_item(item=double, by=cast.officer)
    from .calibration_making import open_animal

    open_animal(cast.herd, 50, cast.keeper, surface=5)
    actions.replace_item(item=double, by=cast.officer)
    assert set(double.photos.all()) == set(double.again_of.photos.all()) != of_set_photos
    actions.remove_item(item=double.again_of, by=cast.officer)
    assert [item.position for item in of_set.items.all()] == list(range(1, 8))


# --- grading ---------------------------------------------------------------------------------------------------------


def test_a_grader_answers_by_touch_or_by_form_and_sees_no_identity(cast, django_assert_num_queries):
    of_set = opened(make_set(cast), cast)
    client = cast.client_of("fellow")
    first = client.post(reverse("calibration-grade", args=[of_set.pk]))
    assert first.url == reverse("calibration-place", args=[of_set.pk, 1])
    with django_assert_num_queries(19):
        page = text_of(client.get(first.url))
    item = of_set.items.first()
    animal = item.photos.first().animal
    for telling in (animal.mark_text, cast.herd.name, str(item.photos.first().key), "Goal"):
        assert telling not in page
    assert "Saved" in text_of(touched(client, of_set, "surface_shade", "7"))
    sent = client.post(first.url, {"surface_shade": "6", "undercolor": "cannot-tell"})
    assert sent.url == reverse("calibration-place", args=[of_set.pk, 2])
    given = {a.trait.code: a.step for a in CalibrationAnswer.objects.filter(item=item)}
    assert given == {"surface_shade": 6, "undercolor": None}


@pytest.mark.parametrize(
    ("trait", "sent", "status"), [("surface_shade", "17", 422), ("surface_shade", "", 422), ("head", "5", 302)]
)
def test_a_step_off_the_scale_is_refused_in_a_sentence(cast, trait, sent, status):
    of_set = opened(make_set(cast), cast)
    client = cast.client_of("fellow")
    client.post(reverse("calibration-grade", args=[of_set.pk]))
    assert touched(client, of_set, trait, sent).status_code == status
    assert not CalibrationAnswer.objects.exists()


def test_what_comes_after_the_window_is_not_written_and_what_came_before_stays(cast):
    of_set = opened(make_set(cast), cast)
    seat = actions.take_seat(of_set=of_set, by=cast.fellow)
    item, (surface, *_) = of_set.items.first(), traits_of("surface_shade")
    actions.save_answers(seat=seat, item=item, answers=[(surface, 4)], by=cast.fellow)
    actions.close_set(of_set=of_set, by=cast.officer)
    client = cast.client_of("fellow")
    late = client.post(
        reverse("calibration-answer", args=[of_set.pk, 1]) + "?trait=surface_shade", {"surface_shade": "9"}, **HTMX
    )
    assert "The time for this set is over. What you gave until then counts." in text_of(late)
    assert CalibrationAnswer.objects.get().step == 4
    with pytest.raises(Exception, match="not open"):
        CalibrationAnswer.objects.create(seat=seat, item=of_set.items.last(), trait=surface, step=3)


def test_a_photo_taken_back_leaves_the_running_set_at_once(cast):
    of_set = opened(make_set(cast, doubles=0), cast)
    client = cast.client_of("fellow")
    client.post(reverse("calibration-grade", args=[of_set.pk]))
    item = of_set.items.first()
    seat = Seat.objects.get()
    answered(of_set, cast.fellow, lambda item, trait: 5)
    PhotoConsent.objects.filter(photo=item.photos.first()).update(withdrawn_at=timezone.now())
    assert client.get(reverse("calibration-place", args=[of_set.pk, 1])).status_code == 302
    assert client.get(reverse("calibration-photo", args=[item.pk, 0, "320"])).status_code == 404
    late = client.post(
        reverse("calibration-answer", args=[of_set.pk, 1]) + "?trait=undercolor", {"undercolor": "5"}, **HTMX
    )
    assert "took these photos back" in text_of(late)
    answered(of_set, cast.keeper, lambda item, trait: 6)
    worked_out(of_set)
    assert not ItemTruth.objects.filter(item=item).exists()
    assert result(seat, "surface_shade").profile["lean"]["n"] <= 7


@pytest.mark.parametrize("view", [view for view in View.values if view != View.EAR_MARK])
def test_a_photo_whose_view_is_put_right_stays_in_the_set(cast, view):
    of_set = opened(make_set(cast, doubles=0), cast)
    client = cast.client_of("fellow")
    client.post(reverse("calibration-grade", args=[of_set.pk]))
    Photo.objects.filter(pk=of_set.items.first().photos.get(view="left_side").pk).update(view=view)
    page = text_of(client.get(reverse("calibration-place", args=[of_set.pk, 1])))
    assert page.count("<figure>") == 2
    assert cast.client_of("officer").get(of_set.get_absolute_url()).status_code == 200


def test_a_photo_found_to_be_an_ear_mark_is_shown_no_more(cast):
    of_set = opened(make_set(cast, doubles=0), cast)
    client = cast.client_of("fellow")
    client.post(reverse("calibration-grade", args=[of_set.pk]))
    item = of_set.items.first()
    Photo.objects.filter(pk=item.photos.get(view="left_side").pk).update(view="ear_mark")
    assert client.get(reverse("calibration-place", args=[of_set.pk, 1])).status_code == 302
    for place in (0, 1):
        assert client.get(reverse("calibration-photo", args=[item.pk, place, "320"])).status_code == 404


# --- working out -----------------------------------------------------------------------------------------------------


@pytest.fixture
def graded(cast):
    """A set of 24 animals and 8 doubles, graded by six known eyes."""
    of_set = opened(make_set(cast, animals=24, doubles=8), cast)
    true = truths(of_set)
    people = {
        "steady": {"scatter": 0.35}, "steady too": {"scatter": 0.35}, "dark": {"lean": -1.2}, "light": {"lean": 1.0},
        "narrow": {"stretch": 0.45, "scatter": 0.3}, "restless": {"scatter": 1.6},
    }  # fmt: skip
    seats = {}
    for number, (name, eye) in enumerate(people.items()):
        seats[name] = answered(of_set, make_member(f"Grader {name}"), eyes(true, seed=number, **eye))
    return worked_out(of_set), seats, true


def test_known_leanings_are_found_within_their_intervals(graded):
    _, seats, true = graded
    for name, lean in (("dark", -1.2), ("light", 1.0), ("steady", 0.0)):
        found = result(seats[name], "surface_shade")
        assert found.lean_low - 0.25 <= lean <= found.lean_high + 0.25, name  # beside the consensus, not beside truth
    assert result(seats["dark"], "surface_shade").lean < -0.6 < 0.5 < result(seats["light"], "surface_shade").lean
    narrow, restless = result(seats["narrow"], "surface_shade"), result(seats["restless"], "surface_shade")
    assert narrow.spread_high < 0.9
    assert (
        restless.profile["self_scatter"]["value"]
        > 2 * result(seats["steady"], "surface_shade").profile["self_scatter"]["value"]
    )
    assert restless.agreement < result(seats["steady"], "surface_shade").agreement
    values = {t.item_id: t.value for t in ItemTruth.objects.filter(trait__code="surface_shade", scored=True)}
    assert np.corrcoef([values[i] for i in values], [true[i, "surface_shade"] for i in values])[0, 1] > 0.93


def test_the_figures_are_those_of_the_agreement_package(graded):
    """The oracle is grading.agreement itself, which published examples test; here it is told the rows one by one."""
    from grading import agreement

    of_set, seats, _ = graded
    items = list(of_set.items.filter(again_of=None).order_by("position"))
    scores = np.array(
        [
            [
                CalibrationAnswer.objects.get(seat=seat, item=item, trait__code="undercolor").step
                for seat in seats.values()
            ]
            for item in items
        ],
        dtype=float,
    )
    of_set.refresh_from_db()
    alpha = agreement.krippendorff_alpha(scores, "ordinal")
    assert of_set.together["undercolor"]["alpha"]["value"] == pytest.approx(alpha.value)
    icc = agreement.intraclass_correlation(scores, "2,1")
    assert of_set.together["undercolor"]["icc"]["value"] == pytest.approx(icc.value)
    assert of_set.together["undercolor"]["icc"]["high"] == pytest.approx(icc.high)


def test_whoever_answered_enough_is_a_grader_for_the_clubs_time_and_looks_count_as_trained(cast, graded):
    of_set, seats, _ = graded
    seat = seats["dark"]
    seat.refresh_from_db()
    seat.member.refresh_from_db()
    assert seat.counts
    assert seat.member.grader_until == of_set.closes_on + timedelta(days=365)
    assert not cast.keeper.is_grader(TODAY())
    cast.keeper.grader_until = TODAY()
    cast.keeper.save()
    assert begin(cast).trained


def test_drift_is_told_by_the_photos_that_last_years_set_had_too(cast, graded):
    before, seats, true = graded
    CalibrationSet.objects.filter(pk=before.pk).update(
        opens_on=TODAY() - timedelta(days=380), closes_on=TODAY() - timedelta(days=360)
    )
    again = opened(make_set(cast, animals=24, doubles=0, first=200), cast)
    last = {frozenset(i.photos.values_list("pk", flat=True)): i.pk for i in before.items.filter(again_of=None)}
    same = {}
    for item in again.items.all():
        if (known := last.get(frozenset(item.photos.values_list("pk", flat=True)))) is not None:
            same[item.pk] = known
    assert 4 <= len(same) <= 24
    now = {
        (item.pk, t.code): true.get((same.get(item.pk), t.code), 5.0)
        for item in again.items.all()
        for t in again.traits.all()
    }
    for number, (name, shift) in enumerate((("steady", 0.0), ("steady too", 1.0), ("dark", 0.0), ("light", 0.0))):
        lean = {"dark": -1.2, "light": 1.0}.get(name, 0.0) + shift
        answered(again, seats[name].member, eyes(now, lean=lean, scatter=0.2, seed=50 + number))
    worked_out(again)
    drifted = GraderResult.objects.get(
        seat__of=again, seat__member=seats["steady too"].member, trait__code="surface_shade"
    )
    assert drifted.profile["drift"]["low"] < 1.0 < drifted.profile["drift"]["high"]
    steady = GraderResult.objects.get(seat__of=again, seat__member=seats["steady"].member, trait__code="surface_shade")
    assert abs(steady.profile["drift"]["value"]) < 0.6
    assert "brighter than last year" in words.drift(drifted.trait, drifted.profile["drift"])
    actions.work_out(of_set=CalibrationSet.objects.get(pk=again.pk))  # a job that ran twice
    twice = GraderResult.objects.get(seat=drifted.seat, trait=drifted.trait)
    assert twice.profile["drift"] == drifted.profile["drift"]


def test_a_set_for_newcomers_in_between_is_not_taken_for_last_years(cast, graded):
    """Nobody of those who graded last year graded it, so with it their drift would be lost."""
    before, seats, _true = graded

    def dated(of_set, days):
        day = TODAY() - timedelta(days=days)
        CalibrationSet.objects.filter(pk=of_set.pk).update(opens_on=day, closes_on=day + timedelta(days=5))

    dated(before, 380)
    between = opened(make_set(cast, animals=6, doubles=0, first=100), cast)
    answered(between, make_member("New"), lambda item, trait: 5)
    answered(between, make_member("New too"), lambda item, trait: 6)
    worked_out(between)
    dated(between, 60)
    photos = {frozenset(i.photos.values_list("pk", flat=True)) for i in before.items.filter(again_of=None)}
    assert set(choosing.photos_of_last(before.breed_id, TODAY())) == photos
    again = opened(make_set(cast, animals=24, doubles=0, first=200), cast)
    answered(again, seats["steady"].member, lambda item, trait: 5)
    answered(again, seats["dark"].member, lambda item, trait: 5)
    worked_out(again)
    drift = result(Seat.objects.get(of=again, member=seats["steady"].member), "surface_shade").profile["drift"]
    assert drift["n"] >= 4


def test_type_that_sways_the_colour_is_found(cast):
    of_set = opened(
        make_set(cast, animals=30, doubles=0, codes=("surface_shade", "undercolor", "shoulder_depth")), cast
    )
    true = truths(of_set, seed=4)
    rng = np.random.default_rng(8)
    for number in range(4):
        answered(of_set, make_member(f"Fair {number}"), eyes(true, scatter=0.4, seed=number))

    def swayed(item, trait):
        key = item.again_of_id or item.pk
        seen = true[key, trait.code] + rng.normal(0, 0.4)
        if trait.code == "surface_shade":
            seen += 0.5 * (true[key, "shoulder_depth"] - 5)
        return int(np.clip(np.rint(seen), 1, 9))

    seat = answered(of_set, make_member("Swayed Grader"), swayed)
    worked_out(of_set)
    halo = result(seat, "surface_shade").profile["halo"]
    assert halo["low"] < 0.5 < halo["high"]
    assert halo["low"] > 0.15
    assert "Animals of better type look" in words.halo(result(seat, "surface_shade").trait, halo)


# --- what cannot be told ---------------------------------------------------------------------------------------------


def everywhere(cast, of_set, *, named=()):
    """The pages of a set as the officer and each named member read them; they hold no None and no NaN."""
    pages = [text_of(cast.client_of("officer").get(of_set.get_absolute_url()))]
    for who in named:
        pages.append(text_of(cast.client_of(who).get(reverse("calibration-result", args=[of_set.pk]))))
    for page in pages:
        visible = page.split("<main", 1)[1]
        assert "None" not in visible
        assert "nan" not in visible.lower().replace("finan", "")
    return pages


def test_one_grader_alone_is_told_that_nothing_can_be_compared(cast):
    of_set = opened(make_set(cast), cast)
    seat = answered(of_set, cast.keeper, lambda item, trait: 1 + item.position % 9)
    of_set = worked_out(of_set)
    assert "One grader alone answered" in of_set.problem
    seat.refresh_from_db()
    cast.keeper.refresh_from_db()
    assert (seat.counts, cast.keeper.grader_until) == (False, None)
    _, own = everywhere(cast, of_set, named=["keeper"])
    assert "A consensus needs two graders at least" in own


def test_everybody_giving_the_same_step_says_that_agreement_cannot_be_told(cast):
    of_set = opened(make_set(cast), cast)
    for who in (cast.keeper, cast.fellow, cast.mentor):
        answered(of_set, who, lambda item, trait: 5)
    of_set = worked_out(of_set)
    assert of_set.together["surface_shade"]["alpha"]["value"] is None
    assert not Seat.objects.filter(counts=True).exists()
    desk, _ = everywhere(cast, of_set, named=["keeper"])
    assert "Every answer is the same step" in desk


def test_somebody_who_cannot_tell_throughout_and_nobody_at_all(cast):
    of_set = opened(make_set(cast), cast)
    true = truths(of_set)
    silent = answered(of_set, cast.keeper, lambda item, trait: None)
    for number, who in enumerate((cast.fellow, cast.mentor, cast.grader)):
        answered(of_set, who, eyes(true, seed=number))
    Seat.objects.create(of=of_set, member=cast.co_owner)  # begun, and nothing answered
    of_set = worked_out(of_set)
    assert result(silent, "surface_shade").profile["cannot_tell"]["value"] == 1.0
    silent.refresh_from_db()
    assert not silent.counts
    everywhere(cast, of_set, named=["keeper", "co_owner", "fellow"])
    empty = opened(make_set(cast, first=60), cast)
    empty = worked_out(empty)
    assert "Nobody answered" in empty.problem
    everywhere(cast, empty)


def test_officers_read_no_single_grader_under_three_and_names_only_where_agreed(cast):
    of_set = opened(make_set(cast), cast)
    true = truths(of_set)
    for number, who in enumerate((cast.fellow, cast.mentor)):
        answered(of_set, who, eyes(true, seed=number))
    worked_out(of_set)
    page = text_of(cast.client_of("officer").get(of_set.get_absolute_url()))
    assert "Fewer than three graders answered" in page
    CalibrationSet.objects.filter(pk=of_set.pk).update(state=SetState.OPEN)
    seat = answered(of_set, cast.keeper, eyes(true, seed=9))
    worked_out(of_set)
    page = text_of(cast.client_of("officer").get(of_set.get_absolute_url())).split("<main", 1)[1]
    assert str(cast.keeper) not in page
    actions.show_name(seat=seat, shows=True, by=cast.keeper)
    page = text_of(cast.client_of("officer").get(of_set.get_absolute_url())).split("<main", 1)[1]
    assert str(cast.keeper) in page
    assert str(cast.fellow) not in page


def test_the_night_closes_what_is_over_and_works_it_out(cast):
    of_set = opened(make_set(cast), cast)
    true = truths(of_set)
    for number, who in enumerate((cast.fellow, cast.mentor, cast.keeper)):
        answered(of_set, who, eyes(true, seed=number))
    CalibrationSet.objects.filter(pk=of_set.pk).update(
        opens_on=TODAY() - timedelta(days=9), closes_on=TODAY() - timedelta(days=1)
    )
    assert actions.close_what_is_over() == "1 set"
    of_set.refresh_from_db()
    assert of_set.state == SetState.DONE
    assert Look.objects.count() == 8  # the set's own truths come from no look, and make none


def test_a_file_of_a_set_tells_no_name(cast):
    from .photos_made import ready_photo

    of_set = opened(make_set(cast, animals=6, doubles=0, photo=ready_photo), cast)
    client = cast.client_of("fellow")
    client.post(reverse("calibration-grade", args=[of_set.pk]))
    item = of_set.items.first()
    response = client.get(reverse("calibration-photo", args=[item.pk, 0, "320"]))
    response.getvalue()
    assert response.status_code == 200
    assert item.photos.first().animal.mark_text.lower() not in response["Content-Disposition"].lower()
    assert cast.client_of("mentor").get(reverse("calibration-photo", args=[item.pk, 0, "320"])).status_code == 404
