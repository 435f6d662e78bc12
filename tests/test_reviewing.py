"""The mentor's side of a review: blind until graded, photos refused, views asked for, drawings, advice, the end."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from grading.actions import reviewing as actions
from grading.actions.reviews import ask_review, take_review, withdraw_review
from grading.models import Drawing, FindingKind, Look, ReviewNews, ReviewState, Trait, ViewWish
from herds.models import AnimalGrant

from .factories import make_look, make_photo, make_profile
from .looking import HTMX, text_of

pytestmark = pytest.mark.django_db
VIEWS = ("left_side", "head_front", "parted_loin", "ear_mark")


@pytest.fixture
def review(cast):
    """The keeper asks the second mentor, who has no grant for the herd, about two animals with photos and own looks."""
    make_profile(cast.sire.breed, traits=[*Trait.objects.all()])
    surface, under = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    for animal in (cast.sire, cast.daughter):
        make_look(animal, cast.keeper, steps={surface: 3, (under, "loin"): 8}, note="the owner's own words")
        for view in VIEWS:
            make_photo(animal, view=view, state="ready", width=800, height=600, caption=f"{animal} at home")
    asked = ask_review(
        herd=cast.herd, animals=[cast.sire, cast.daughter], question="keep", by=cast.keeper,
        mentor=cast.revoked_mentor, ends_on=timezone.localdate() + timedelta(days=30),
    )  # fmt: skip
    return take_review(review=asked, by=cast.revoked_mentor)


def first(review):
    return review.animals.get(position=1)


def url(review, position=1):
    return reverse("review-animal", args=[review.pk, position])


def touched(client, review, code, step, position=1):
    """One touch on a scale."""
    answer = reverse("review-answer", args=[review.pk, position])
    return client.post(f"{answer}?trait={code}", {code: step}, **HTMX)


def graded(review, mentor, position=1, step=7):
    """The animal with a saved grading."""
    of = review.animals.get(position=position)
    actions.begin_look(of=of, by=mentor)
    actions.save_steps(of=of, answers=[(Trait.objects.get(summary="surface"), "", step)], by=mentor)
    return actions.save_grading(of=of, by=mentor, coat_stage="prime")


def test_nothing_tells_whose_the_animal_is_or_what_others_gave_it_until_the_grading_is_saved(cast, review):
    client = cast.client_of("revoked_mentor")
    assert client.get(reverse("review-work", args=[review.pk])).url == url(review)
    client.post(url(review), {"do": "begin"})
    page = text_of(client.get(url(review)))
    ear_mark = cast.sire.photos.get(view="ear_mark")
    for telling in (cast.sire.mark_text, cast.sire.name, "the owner's own words", "at home", "Goal", str(ear_mark.key)):
        assert telling not in page
    assert "Animal 1 of 2" in page
    assert not Look.objects.visible_to(cast.revoked_mentor).filter(observer=cast.keeper).exists()
    assert "Saved" in text_of(touched(client, review, "surface_shade", "7"))
    after = client.post(
        url(review), {"do": "grade", "surface_shade": "7", "undercolor--loin": "4", "coat_stage": "prime"}
    )
    assert after.status_code == 302
    page = text_of(client.get(url(review)))
    assert cast.sire.name in page
    assert "What you tell the owner" in page
    assert Look.objects.visible_to(cast.revoked_mentor).filter(observer=cast.keeper, animal=cast.sire).exists()
    assert not Look.objects.visible_to(cast.revoked_mentor).filter(observer=cast.keeper, animal=cast.daughter).exists()
    look = first(review).look
    assert (look.mode, look.role, look.coat_stage, look.surface, look.undercolor) == ("photo", "mentor", "prime", 7, 4)


def test_only_what_photos_can_show_is_asked_and_parted_coats_where_they_are_photographed(cast, review):
    client = cast.client_of("revoked_mentor")
    client.post(url(review), {"do": "begin"})
    page = text_of(client.get(url(review)))
    assert 'name="undercolor--loin"' in page
    assert 'name="undercolor--rump"' not in page
    for trait in Trait.objects.filter(photo_can_show=False):
        assert f'name="{trait.code}"' not in page
    refused = client.post(
        reverse("review-answer", args=[review.pk, 1]) + "?trait=loin_width", {"loin_width": "5"}, **HTMX
    )
    assert refused.status_code == 404


def test_a_graded_animal_is_not_graded_again_and_a_grading_needs_a_step(cast, review):
    mentor = cast.revoked_mentor
    actions.begin_look(of=first(review), by=mentor)
    with pytest.raises(ValidationError, match="Give at least one step"):
        actions.save_grading(of=first(review), by=mentor)
    graded(review, mentor)
    with pytest.raises(ValidationError, match="stays as it is"):
        actions.save_steps(of=first(review), answers=[(Trait.objects.get(summary="surface"), "", 2)], by=mentor)
    client = cast.client_of("revoked_mentor")
    late = client.post(
        reverse("review-answer", args=[review.pk, 1]) + "?trait=surface_shade", {"surface_shade": "1"}, **HTMX
    )
    assert late.status_code == 422
    assert first(review).look.surface == 7


def test_photos_that_do_not_do_are_refused_with_a_reason_and_the_next_animal_comes(cast, review):
    client = cast.client_of("revoked_mentor")
    assert client.post(url(review), {"do": "refuse", "why": "  "}).status_code == 422
    onward = client.post(url(review), {"do": "refuse", "why": "Blurred, and the coat is not parted"})
    assert onward.url == url(review, 2)
    of = first(review)
    assert of.photo_problem.startswith("Blurred")
    assert of.graded_at is None
    assert cast.sire.name not in text_of(client.get(url(review)))  # still blind: nothing was graded


def test_another_view_is_asked_for_once_and_the_owner_hears_of_it(cast, review):
    client = cast.client_of("revoked_mentor")
    sent = {"do": "wish", "view": "parted_rump", "why": "Does the colour hold there?"}
    client.post(url(review), sent)
    assert ViewWish.objects.get().why == "Does the colour hold there?"
    assert ReviewNews.objects.filter(member=cast.keeper, kind="wish").exists()
    again = client.post(url(review), sent)
    assert again.status_code == 422
    assert "asked for already" in text_of(again)
    assert "Does the colour hold there?" in text_of(again)


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({}, 302),
        ({"shape": "box", "x1": "10,5".replace(",", ".")}, 302),
        ({"x2": "140"}, 422),
        ({"x1": "", "y1": ""}, 422),
        ({"x1": "50", "y1": "50", "x2": "50", "y2": "50"}, 422),
        ({"shape": "heart"}, 422),
        ({"photo": "no key"}, 422),
    ],
)
def test_a_drawing_lies_on_the_photo_or_is_refused_in_a_sentence(cast, review, changes, status):
    photo = cast.sire.photos.get(view="left_side")
    sent = {"do": "draw", "photo": str(photo.key), "shape": "arrow", "x1": "10", "y1": "20", "x2": "50", "y2": "60"}
    response = cast.client_of("revoked_mentor").post(url(review), sent | {"words": "brown here"} | changes)
    assert response.status_code == status
    assert Drawing.objects.count() == (status == 302)
    if status == 302:
        drawing = Drawing.objects.get()
        assert (drawing.y1, drawing.x2, drawing.words) == (0.2, 0.5, "brown here")
        cast.client_of("revoked_mentor").post(url(review), {"do": "undraw", "drawing": drawing.pk})
        assert not Drawing.objects.exists()


def test_nothing_is_drawn_on_another_animals_photo_or_one_taken_back(cast, review):
    photo = cast.sire.photos.get(view="left_side")
    photo.withdrawn_at = timezone.now()
    photo.save()
    place = {"shape": "arrow", "x1": 0.1, "y1": 0.1, "x2": 0.5, "y2": 0.5, "by": cast.revoked_mentor}
    with pytest.raises(ValidationError, match="took this photo back"):
        actions.draw(of=first(review), photo=photo, **place)
    with pytest.raises(ValidationError, match="took this photo back"):
        actions.draw(of=first(review), photo=cast.daughter.photos.get(view="left_side"), **place)
    page = text_of(cast.client_of("revoked_mentor").get(url(review)))
    assert str(photo.key) not in page


def test_an_opinion_needs_a_reason_and_what_was_typed_stays(cast, review):
    graded(review, cast.revoked_mentor)
    client = cast.client_of("revoked_mentor")
    sent = {"do": "advise", "advice": "Bright, and dark to the skin.", "opinion": "keep"}
    refused = client.post(url(review), sent)
    assert refused.status_code == 422
    assert "Give a reason with your opinion" in text_of(refused)
    assert "Bright, and dark to the skin." in text_of(refused)
    assert client.post(url(review), sent | {"opinion_reason": "the loin"}).url == url(review, 2)
    assert (first(review).opinion, first(review).done_at is not None) == ("keep", True)


def test_a_review_with_open_animals_is_finished_only_with_a_reason(cast, review):
    graded(review, cast.revoked_mentor)
    actions.advise(of=first(review), by=cast.revoked_mentor, advice="Good")
    client, page = cast.client_of("revoked_mentor"), reverse("review-finish", args=[review.pk])
    refused = client.post(page, {"summary": "Keep her."})
    assert "1 animal still open" in text_of(refused)
    assert "Keep her." in text_of(refused)
    client.post(page, {"summary": "Keep her.", "why_open": "No parted coat to see"})
    review.refresh_from_db()
    assert (review.state, review.summary) == (ReviewState.ANSWERED, "Keep her.")
    assert review.animals.get(position=2).photo_problem == "Not reviewed: No parted coat to see"
    assert ReviewNews.objects.filter(member=cast.keeper, kind="answered").exists()
    assert "Keep her." in text_of(cast.client_of("keeper").get(review.get_absolute_url()))


def test_a_blind_look_is_not_changed_any_more_once_the_owners_steps_are_shown(cast, review):
    from .looking import touch

    of = graded(review, cast.revoked_mentor, step=7)
    client = cast.client_of("revoked_mentor")
    assert not Look.objects.editable_by(cast.revoked_mentor).filter(pk=of.look_id).exists()
    touch(client, of.look, "surface_shade", "3")
    assert "Change it today" not in text_of(client.get(of.look.get_absolute_url()))
    assert Look.objects.get(pk=of.look_id).surface == 7


# --- nothing typed is lost -------------------------------------------------------------------------------------------

KEPT = {"kept_advice": "Half a thought", "kept_opinion": "keep", "kept_opinion_reason": "for the loin"}


@pytest.mark.parametrize("sent", ["draw", "wish", "word", "refused drawing"])
def test_advice_that_is_still_being_written_is_kept_when_another_form_of_the_page_is_sent(cast, review, sent):
    of, client = graded(review, cast.revoked_mentor), cast.client_of("revoked_mentor")
    key = cast.sire.photos.get(view="left_side").key
    arrow = {"do": "draw", "photo": key, "shape": "arrow", "x1": 1, "y1": 1, "x2": 40, "y2": 40}
    if sent == "word":
        url_of, given = reverse("review-word-create", args=[review.pk]), {"words": "When was that?", "of": of.pk}
    else:
        url_of = url(review)
        given = {"draw": arrow, "refused drawing": arrow | {"x2": 1, "y2": 1, "words": "look at this flank"},
                 "wish": {"do": "wish", "view": "top", "why": "shadow"}}[sent]  # fmt: skip
    response = client.post(url_of, given | KEPT)
    page = text_of(response if sent == "refused drawing" else client.get(url(review)))
    assert "Half a thought" in page
    assert "for the loin" in page
    if sent == "refused drawing":
        assert "look at this flank" in page
    of = first(review)
    assert (of.advice, of.opinion, of.opinion_reason, of.done_at) == ("Half a thought", "keep", "for the loin", None)


def test_advice_sent_along_into_a_closed_review_is_given_back_and_not_kept(cast, review):
    of, client = graded(review, cast.revoked_mentor), cast.client_of("revoked_mentor")
    withdraw_review(review=review, by=cast.keeper)
    response = client.post(url(review), {"do": "wish", "view": "top", "why": "shadow"} | KEPT)
    assert response.status_code == 409
    assert "Half a thought" in text_of(response)
    assert first(review).advice == ""
    assert of.pk


def test_a_reason_against_photos_that_were_graded_meanwhile_is_given_back(cast, review):
    graded(review, cast.revoked_mentor)
    response = cast.client_of("revoked_mentor").post(url(review), {"do": "refuse", "why": "blurred at the rump"})
    assert response.status_code == 422
    assert "blurred at the rump" in text_of(response)


@pytest.mark.parametrize(("opens", "said"), [("sharing", True), ("a grant for the herd", True), ("nothing", False)])
def test_a_mentor_to_whom_the_looks_are_open_elsewhere_is_asked_not_to_read_them(cast, review, opens, said):
    from .factories import make_grant

    if opens == "sharing":
        cast.herd.shares_looks = True
        cast.herd.save()
    elif opens == "a grant for the herd":
        make_grant(cast.herd, cast.revoked_mentor, granted_by=cast.keeper)
    page = text_of(cast.client_of("revoked_mentor").get(url(review)))
    assert ("Do not read them before you have graded" in page) == said


# --- closed under the mentor's hands ---------------------------------------------------------------------------------


def end_of_days(cast, review):
    review.ends_on = timezone.localdate() - timedelta(days=1)
    review.save()


def taken_back(cast, review):
    withdraw_review(review=review, by=cast.keeper)


def grant_revoked(cast, review):
    AnimalGrant.objects.update(revoked_at=timezone.now(), revoked_by=cast.keeper)


def animal_moved(cast, review):
    cast.sire.herd = cast.other_herd
    cast.sire.save()


def mentor_left(cast, review):
    cast.revoked_mentor.is_active = False
    cast.revoked_mentor.save()


@pytest.mark.parametrize("happens", [end_of_days, taken_back, grant_revoked, animal_moved])
def test_what_is_closed_while_the_mentor_types_shows_nothing_and_gives_the_words_back(cast, review, happens):
    graded(review, cast.revoked_mentor)
    happens(cast, review)
    client = cast.client_of("revoked_mentor")
    sent = {"do": "advise", "advice": "Two hours of thought.", "opinion": "keep", "opinion_reason": "for the loin"}
    response = client.post(url(review), sent)
    page = text_of(response)
    assert response.status_code == 409
    assert "closed to you now" in page
    assert "Two hours of thought." in page
    assert "for the loin" in page
    assert cast.sire.name not in page.split("<main", 1)[1]
    assert first(review).advice == ""
    if happens is not animal_moved:
        assert touched(client, review, "surface_shade", "5", position=2).status_code in (409, 302)
    photo = cast.sire.photos.get(view="left_side")
    assert client.get(reverse("review-photo", args=[first(review).pk, photo.key, "320"])).status_code == 404


def test_a_stranger_learns_nothing_and_a_mentor_who_left_is_signed_out(cast, review):
    for who in ("fellow", "mentor", "keeper", "officer"):
        client = cast.client_of(who)
        assert client.get(url(review)).status_code == 404
        assert client.get(reverse("review-finish", args=[review.pk])).status_code == 404
        assert client.post(url(review), {"do": "begin"}).status_code == 404
    client = cast.client_of("revoked_mentor")
    mentor_left(cast, review)
    assert client.get(url(review)).status_code == 302


def test_the_page_costs_the_same_for_two_animals_and_for_eight(cast, review):
    from .factories import make_animal
    from .queries import queries_of

    client = cast.client_of("revoked_mentor")
    client.post(url(review), {"do": "begin"})
    few = queries_of(client, url(review))
    more = [make_animal(cast.herd, f"R{n}") for n in range(6)]
    for animal in more:
        for view in VIEWS:
            make_photo(animal, view=view, state="ready", width=800, height=600)
    from grading.models import ReviewAnimal

    for position, animal in enumerate(more, 3):
        of = ReviewAnimal.objects.create(review=review, animal=animal, position=position)
        AnimalGrant.objects.create(
            animal=animal, herd=cast.herd, mentor=cast.revoked_mentor, granted_by=cast.keeper, ends_on=review.ends_on
        )
        assert of.pk
    assert queries_of(client, url(review)) == few <= 30


def test_a_look_whose_day_is_over_is_taken_as_it_stands(cast, review):
    from .looking import day_passes

    of = first(review)
    look = actions.begin_look(of=of, by=cast.revoked_mentor)
    actions.save_steps(of=of, answers=[(Trait.objects.get(summary="surface"), "", 6)], by=cast.revoked_mentor)
    day_passes(look)
    page = cast.client_of("revoked_mentor").post(url(review), {"do": "grade"})
    assert page.status_code == 302
    of = first(review)
    assert of.graded_at is not None
    assert (of.look, of.look.surface, of.look.coat_stage) == (look, 6, "")


def test_a_coat_stage_and_a_finding_that_are_new_on_another_day_are_not_lost(cast, review):
    from .looking import day_passes

    of = first(review)
    look = actions.begin_look(of=of, by=cast.revoked_mentor)
    actions.save_steps(of=of, answers=[(Trait.objects.get(summary="surface"), "", 6)], by=cast.revoked_mentor)
    day_passes(look)
    kind = FindingKind.objects.get(code="stain")
    actions.save_grading(of=of, by=cast.revoked_mentor, coat_stage="prime", seen=[kind.code])
    of = first(review)
    assert (of.look.supersedes, of.look.surface, of.look.coat_stage) == (look, 6, "prime")
    assert of.look.findings.get().kind == kind


def as_the_page_sends_it(client, page, **more):
    """The grading form as a browser sends it: every chosen step goes along, not only those touched last."""
    import re

    html = text_of(client.get(page))
    inputs = [dict(re.findall(r'(\w+)="([^"]*)"', tag)) for tag in re.findall(r"<input[^>]*checked[^>]*>", html)]
    chosen = {each["name"]: each["value"] for each in inputs if "name" in each}
    return client.post(page, {"do": "grade", **chosen, **more})


@pytest.mark.parametrize("night", [False, True], ids=["the night did not run", "the night closed it"])
def test_a_mentor_who_began_yesterday_goes_on_blind_with_the_steps_given_so_far(cast, review, night):
    """An hour on Sunday is not always enough: the day of the look ends, the grading does not."""
    from grading.nightly import close_looks

    from .looking import day_passes

    of, client = first(review), cast.client_of("revoked_mentor")
    begun = actions.begin_look(of=of, by=cast.revoked_mentor)
    actions.save_steps(of=of, answers=[(Trait.objects.get(summary="surface"), "", 6)], by=cast.revoked_mentor)
    day_passes(begun)
    if night:
        close_looks()
    assert "Saved" in text_of(touched(client, review, "even_front_back", "4"))
    assert as_the_page_sends_it(client, url(review), coat_stage="prime").status_code == 302
    of, begun = first(review), Look.objects.get(pk=begun.pk)
    steps = dict(of.look.answers.values_list("trait__code", "step"))
    assert (of.graded_at is not None, steps) == (True, {"surface_shade": 6, "even_front_back": 4})
    assert (of.look.supersedes, of.look.coat_stage, of.look.mode, of.look.role) == (begun, "prime", "photo", "mentor")
    assert begun.answers.count() == 1
    mine = Look.objects.filter(animal=cast.sire, observer=cast.revoked_mentor)
    assert list(mine.current()) == [of.look]


def test_a_grading_to_which_nothing_was_added_on_another_day_needs_no_second_look(cast, review):
    from .looking import day_passes

    of, client = first(review), cast.client_of("revoked_mentor")
    begun = actions.begin_look(of=of, by=cast.revoked_mentor)
    actions.save_steps(of=of, answers=[(Trait.objects.get(summary="surface"), "", 6)], by=cast.revoked_mentor)
    day_passes(begun)
    assert as_the_page_sends_it(client, url(review)).status_code == 302
    assert (first(review).look, first(review).graded_at is not None) == (begun, True)


def test_an_animal_whose_photos_were_refused_is_graded_once_better_ones_came(cast, review):
    client = cast.client_of("revoked_mentor")
    client.post(url(review), {"do": "refuse", "why": "blurred"})
    page = text_of(client.get(url(review)))
    assert "Grade it after all" in page
    client.post(url(review), {"do": "begin"})
    assert 'name="surface_shade"' in text_of(client.get(url(review)))
    client.post(url(review), {"do": "grade", "surface_shade": "7"})
    of = first(review)
    assert (of.graded_at is not None, of.photo_problem) == (True, "")


def test_the_look_has_the_age_and_the_light_of_the_photos_and_invents_none(cast, review):
    today = timezone.localdate()
    taken = today - timedelta(days=90)
    cast.daughter.photos.update(taken_on=taken, light="")
    cast.client_of("revoked_mentor").post(url(review, 2), {"do": "begin"})
    look = review.animals.get(position=2).look
    assert (look.observed_on, look.light, look.mode) == (taken, "", "photo")
    assert look.age_days == (taken - cast.daughter.born_on).days == 210
    with pytest.raises(IntegrityError, match="look_light_known"), transaction.atomic():
        Look.objects.filter(pk=look.pk).update(mode="in_hand")


@pytest.mark.parametrize("days", [-3, 10000])
def test_photos_of_a_day_that_cannot_be_graded_count_as_seen_today(cast, review, days):
    """In the future by a camera's clock, or older than the club's first profile."""
    cast.sire.photos.update(taken_on=timezone.localdate() - timedelta(days=days), light="sun")
    cast.client_of("revoked_mentor").post(url(review), {"do": "begin"})
    look = first(review).look
    assert (look.observed_on, look.light) == (timezone.localdate(), "sun")
