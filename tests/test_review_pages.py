"""Pages of reviews: the list, the answer side by side, tasks on Today, the animal's page, the talk."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from grading.actions import reviews as actions
from grading.models import Drawing, ReviewNews, ReviewWord, Trait, ViewWish
from grading.review_missing import missing_for
from grading.review_reading import arrow_head, sides_of
from herds.models import Animal, AnimalGrant, Decision

from .factories import (
    make_animal,
    make_animal_grant,
    make_look,
    make_photo,
    make_profile,
    make_review,
)
from .looking import text_of
from .photos_made import ready_photo
from .queries import queries_of


def day(ahead):
    return timezone.localdate() + timedelta(days=ahead)


@pytest.fixture
def traits(cast):
    """Surface shade with a goal of 6 to 8, and undercolor, which this schedule grades without one."""
    surface, undercolor = Trait.objects.get(code="surface_shade"), Trait.objects.get(code="undercolor")
    make_profile(cast.sire.breed, traits=[surface, undercolor])
    return surface, undercolor


def page(client, url, status=200):
    response = client.get(url)
    assert response.status_code == status
    return response.content.decode()


# ---- The list, and taking ----


def test_the_queue_shows_the_question_and_the_herd_and_no_animal_to_those_who_take_requests(cast):
    make_review(cast.herd, [cast.daughter], cast.keeper, words="Is she bright enough?")
    text = page(cast.client_of("mentor"), reverse("review-list"))
    assert "Is she bright enough?" in text
    assert "Alder" not in text
    assert "Is she bright enough?" not in page(cast.client_of("fellow"), reverse("review-list"))


def test_two_mentors_at_once_the_second_reads_that_it_is_taken(cast):
    review = make_review(cast.herd, [cast.daughter], cast.keeper)
    url = reverse("review-take", args=[review.pk])
    cast.client_of("mentor").post(url)
    answer = cast.client_of("revoked_mentor").post(url, follow=True).content.decode()
    assert "another mentor took it" in answer
    review.refresh_from_db()
    assert review.mentor == cast.mentor
    # A number that never was one says the same, so that nothing is learnt by trying.
    answer = cast.client_of("revoked_mentor").post(reverse("review-take", args=[999999]), follow=True)
    assert "another mentor took it" in answer.content.decode()


def test_the_list_costs_the_same_for_one_review_and_for_many(cast):
    client = cast.client_of("mentor")
    for count in (1, 6):
        for _ in range(count):
            make_review(cast.herd, [cast.daughter], cast.keeper)
            make_review(cast.herd, [cast.dam], cast.keeper, cast.mentor)
            make_review(cast.herd, [cast.sire], cast.keeper, cast.mentor, state="answered")
        asked = queries_of(client, reverse("review-list"))
    assert asked == 8  # session, member, mine, queue, news of what is closed, its marking, own herds, club


# ---- The answer ----


@pytest.fixture
def answered(cast, traits):
    """The daughter graded 7 by her keeper and 4 by the mentor, with an arrow on her left side."""
    surface, undercolor = traits
    mentor = cast.revoked_mentor
    own = make_look(cast.daughter, cast.keeper, steps={surface: 7, (undercolor, "loin"): 5}, observed_on=day(-9))
    blind = make_look(cast.daughter, mentor, mode="photo", role="mentor", steps={surface: 4, (undercolor, "loin"): 6})
    review = make_review(
        cast.herd, [cast.daughter], cast.keeper, mentor, state="answered", summary="Grade outside.",
        advice="Look again in prime coat.", opinion="grow_on", opinion_reason="dark on top",
    )  # fmt: skip
    of = review.animals.get()
    of.look, of.graded_at = blind, timezone.now()
    of.save()
    photo = ready_photo(cast.daughter)
    Drawing.objects.create(of=of, photo=photo, shape="arrow", x1=0.2, y1=0.2, x2=0.5, y2=0.5, words="dark here")
    make_animal_grant(cast.daughter, mentor, cast.keeper, with_looks=True)
    review.own, review.photo = own, photo
    return review


def test_the_owner_sees_both_sides_where_they_differ_and_why_it_matters(cast, answered):
    side = next(iter(sides_of(answered, cast.keeper)))
    assert side.own_look == answered.own
    pair = side.differing[0].worst
    assert len(side.differing) == 1
    assert pair.direction == "3 steps nearer to “nearly black”"
    assert pair.matters == (
        "The goal is 6 to 8: your step lies inside it, the mentor's under it. Who grades so keeps animals that fall "
        "short of the goal."
    )
    assert side.agreement == "Of 2 steps that both of you gave, 1 is at most one apart, 1 differs by 2 or more."
    text = page(cast.client_of("keeper"), answered.get_absolute_url())
    for words in (
        "Grade outside.",
        "Look again in prime coat.",
        "dark on top",
        "dark here",
        pair.matters.split(":")[0],
    ):
        assert words in text
    # The surface shade stands beside the undercolor wherever it is drawn.
    assert text.count("surface <b>") == text.count("undercolor <b>") > 0
    assert "?verdict=grow_on&amp;reason=dark%20on%20top" in text


@pytest.mark.parametrize(
    ("own", "theirs", "sentence"),
    [
        (4, 7, "Who grades so lets animals go that are good in it."),
        (2, 5, "both steps lie under it, so the verdict is the same"),
        (6, 8, "both steps lie inside it, so it is good by either."),
        (9, 5, "Each of you would breed it the other way."),
    ],
)
def test_why_a_difference_matters_follows_from_the_goal(cast, traits, own, theirs, sentence):
    surface, _ = traits
    make_look(cast.dam, cast.keeper, steps={surface: own})
    blind = make_look(cast.dam, cast.mentor, mode="photo", steps={surface: theirs})
    review = make_review(cast.herd, [cast.dam], cast.keeper, cast.mentor, state="answered")
    review.animals.update(look=blind, graded_at=timezone.now())
    (side,) = sides_of(review, cast.keeper)
    assert sentence in side.differing[0].worst.matters


def test_a_look_that_the_owner_made_after_the_answer_is_not_the_one_compared(cast, traits):
    surface, _ = traits
    blind = make_look(cast.dam, cast.mentor, mode="photo", steps={surface: 4})
    review = make_review(cast.herd, [cast.dam], cast.keeper, cast.mentor, state="answered")
    review.animals.update(look=blind, graded_at=timezone.now() - timedelta(hours=1))
    make_look(cast.dam, cast.keeper, steps={surface: 4})
    (side,) = sides_of(review, cast.keeper)
    assert side.own_look is None
    assert "You had no look of it when the mentor graded" in page(cast.client_of("keeper"), review.get_absolute_url())


def test_the_mentor_sees_the_owners_side_only_while_the_grant_opens_it(cast, answered):
    client = cast.client_of("revoked_mentor")
    assert str(answered.photo.key) in page(client, answered.get_absolute_url())
    (side,) = sides_of(answered, cast.revoked_mentor)
    assert side.own_look == answered.own
    AnimalGrant.objects.filter(mentor=cast.revoked_mentor).update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    (side,) = sides_of(answered, cast.revoked_mentor)
    assert side.own_look is None
    assert not side.drawn
    text = page(client, answered.get_absolute_url())
    assert str(answered.photo.key) not in text
    assert "because that photo is withdrawn or closed to you" in text
    assert "Look again in prime coat." in text, "what the mentor wrote stays readable for the mentor"


def test_a_mentor_who_still_grades_is_shown_no_animal(cast):
    review = make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor, state="taken", words="Too dark?")
    text = page(cast.client_of("mentor"), review.get_absolute_url())
    assert "Too dark?" in text
    assert "Alder" not in text
    assert "Ask for a review" not in text
    url = reverse("review-word-create", args=[review.pk])
    sent = {"words": "Which one is it?", "of": review.animals.get().pk}
    assert cast.client_of("mentor").post(url, sent).status_code == 404


def test_what_is_written_under_an_animal_reaches_its_mentor_once_it_is_graded_and_is_answered_there(cast, traits):
    """The letter says that somebody wrote, so the mentor must find it while the review still runs."""
    surface, _ = traits
    review = make_review(cast.herd, [cast.daughter, cast.dam], cast.keeper, cast.mentor, state="taken")
    first, second = review.animals.order_by("position")
    url = reverse("review-word-create", args=[review.pk])
    for of, words in ((first, "Alder molted in May"), (second, "Birch was wet that day")):
        cast.client_of("keeper").post(url, {"words": words, "of": of.pk, "submission": f"key-{of.pk}"})
    client = cast.client_of("mentor")
    text = page(client, review.get_absolute_url())
    assert "animal 1 (1), shown after your grading; animal 2 (1), shown after your grading." in text
    assert "Alder" not in text
    look = make_look(cast.daughter, cast.mentor, mode="photo", steps={surface: 5}, role="mentor")
    review.animals.filter(pk=first.pk).update(look=look, graded_at=timezone.now())
    assert "molted in May" in page(client, reverse("review-animal", args=[review.pk, 1]))
    assert "was wet that day" not in page(client, reverse("review-animal", args=[review.pk, 2]))
    answered = client.post(url, {"words": "That explains it", "of": first.pk, "submission": "key-m"})
    assert answered.url == f"{reverse('review-animal', args=[review.pk, 1])}#talk-{first.pk}"
    long = "x" * 2001
    refused = client.post(url, {"words": long, "of": first.pk, "submission": "key-n"})
    assert (refused.status_code, long in text_of(refused)) == (422, True)


def test_a_mentor_who_grades_after_another_reads_nothing_that_was_said_before(cast):
    now = timezone.now()
    review = make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor, state="taken", handed_on_at=now)
    early = timezone.now() - timedelta(days=3)
    ReviewWord.objects.create(review=review, author=cast.fellow, words="The second one is an 8", said_at=early)
    ReviewWord.objects.create(review=review, author=cast.keeper, words="The lamp was new", said_at=timezone.now())
    text = page(cast.client_of("mentor"), review.get_absolute_url())
    assert "The lamp was new" in text
    assert "The second one is an 8" not in text
    assert "shown once you have answered" in text
    assert "The second one is an 8" in page(cast.client_of("keeper"), review.get_absolute_url())


@pytest.mark.parametrize("happens", ["taken back", "handed on"])
def test_a_word_that_a_mentor_typed_into_a_closed_review_is_given_back(cast, happens):
    review = make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor, state="taken")
    if happens == "taken back":
        actions.withdraw_review(review=review, by=cast.keeper)
    else:
        actions.hand_on(review=review, by=cast.mentor)
    url = reverse("review-word-create", args=[review.pk])
    refused = cast.client_of("mentor").post(url, {"words": "An hour of thought"})
    assert refused.status_code == 409
    assert "An hour of thought" in text_of(refused)
    assert "Nothing was sent" in text_of(refused)
    assert not ReviewWord.objects.filter(words="An hour of thought").exists()


def test_the_owners_side_is_a_keepers_look_and_never_another_mentors(cast, traits):
    surface, _ = traits
    own = make_look(cast.dam, cast.co_owner, steps={surface: 4})
    other = make_look(cast.dam, cast.fellow, mode="photo", role="mentor", steps={surface: 8})
    assert other.pk > own.pk
    blind = make_look(cast.dam, cast.mentor, mode="photo", role="mentor", steps={surface: 5})
    review = make_review(cast.herd, [cast.dam], cast.keeper, cast.mentor, state="answered")
    review.animals.update(look=blind, graded_at=timezone.now())
    (side,) = sides_of(review, cast.keeper)
    assert side.own_look == own


def test_another_mentors_look_is_not_the_owners_before_sending(cast, traits):
    surface, _ = traits
    make_look(cast.dam, cast.fellow, mode="photo", role="mentor", steps={surface: 8})
    (row,) = missing_for([cast.dam], "keep", member=cast.keeper)
    assert row.look.startswith("No look yet")


def test_the_answer_costs_the_same_for_one_animal_and_for_many(cast, traits):
    surface, _ = traits

    def review_of(animals):
        review = make_review(
            cast.herd, animals, cast.keeper, cast.mentor, state="answered", opinion="keep", opinion_reason="good"
        )
        for of in review.animals.all():
            make_look(of.animal, cast.keeper, steps={surface: 7}, observed_on=day(-2))
            look = make_look(of.animal, cast.mentor, mode="photo", steps={surface: 4})
            type(of).objects.filter(pk=of.pk).update(look=look, graded_at=timezone.now())
            photo = ready_photo(of.animal)
            Drawing.objects.create(of=of, photo=photo, shape="box", x1=0.2, y1=0.2, x2=0.5, y2=0.5)
            ViewWish.objects.create(of=of, view="top", why="shadow")
            ReviewWord.objects.create(review=review, of=of, author=cast.keeper, words="Thank you")
            Decision.objects.create(animal=of.animal, verdict="keep", by=cast.keeper)
        return review

    client = cast.client_of("keeper")
    few = queries_of(client, review_of([cast.dam]).get_absolute_url())
    many = review_of([make_animal(cast.herd) for _ in range(5)])
    assert queries_of(client, many.get_absolute_url()) == few == 19


def test_an_arrows_head_ends_where_the_arrow_ends():
    assert arrow_head(0, 0, 100, 0, 10) == "100.0,0.0 90.0,5.0 90.0,-5.0"


def test_an_animal_that_was_closed_to_the_mentor_is_named_and_opened_again_with_a_new_last_day(cast):
    review = make_review(cast.herd, [cast.daughter, cast.sire], cast.keeper, cast.mentor, state="taken")
    make_animal_grant(cast.daughter, cast.mentor, cast.keeper)
    client = cast.client_of("keeper")
    text = page(client, review.get_absolute_url())
    assert "Closed to Anselm Oakhurst" in text
    assert "<p>A1 Slate. Anselm Oakhurst cannot go on with it." in text
    client.post(reverse("review-prolong", args=[review.pk]), {"ends_on": day(9)})
    assert "Closed to Anselm Oakhurst" not in page(client, review.get_absolute_url())


def test_an_animal_that_moved_to_another_herd_keeps_its_answer_with_the_herd_that_asked(cast, answered):
    Animal.objects.filter(pk=cast.daughter.pk).update(herd=cast.other_herd)
    text = page(cast.client_of("keeper"), answered.get_absolute_url())
    assert "stands in this herd no longer" in text
    assert "Look again in prime coat." in text
    assert "?verdict=" not in text
    assert str(answered.photo.key) not in text, "its photos are the new owner's to show"
    assert "Decide about" not in page(cast.client_of("keeper"), reverse("today"))
    assert "Look again in prime coat." not in page(cast.client_of("fellow"), cast.daughter.get_absolute_url())
    assert cast.client_of("fellow").get(answered.get_absolute_url()).status_code == 404


# ---- Acting, and the tasks of Today ----


def test_the_opinion_is_a_task_until_the_owner_decides_and_the_form_has_it_filled_in(cast, answered):
    client = cast.client_of("keeper")
    today = page(client, reverse("today"))
    assert "Decide about A3 Alder" in today
    assert "Berit Stonewell would: grow on" in today
    url = f"{reverse('decision-create', args=[cast.daughter.pk])}?verdict=grow_on&reason=dark+on+top"
    form = page(client, url)
    assert 'value="grow_on"' in form
    assert 'value="dark on top"' in form
    assert not Decision.objects.exists()
    client.post(url, {"verdict": "let_go", "reason": "dark on top", "decided_on": day(0)})
    assert Decision.objects.get().verdict == "let_go"
    assert "Decide about A3 Alder" not in page(client, reverse("today"))
    assert "You decided on" in page(client, answered.get_absolute_url())


def test_an_opinion_that_is_put_aside_is_no_task_any_more(cast, answered):
    client = cast.client_of("co_owner")
    client.post(reverse("review-act", args=[answered.animals.get().pk]))
    assert "Decide about" not in page(client, reverse("today"))
    assert "Put aside on" in page(client, answered.get_absolute_url())


def test_a_review_line_is_put_aside_on_today_by_its_keepers_and_by_nobody_else(cast, answered):
    key = f"review_act-{answered.animals.get().pk}"
    url = reverse("today-dismiss", args=[key])
    assert cast.client_of("fellow").post(url).status_code == 404
    assert cast.client_of("revoked_mentor").post(url).status_code == 404
    assert cast.client_of("keeper").post(url).status_code == 302
    assert "Put aside (1)" in page(cast.client_of("keeper"), reverse("today"))
    for bad in ("review_act-", "review_act-x", "review_read-99999999999999999999"):
        assert cast.client_of("keeper").post(reverse("today-dismiss", args=[bad])).status_code == 404
    assert cast.client_of("keeper").post(reverse("today-done", args=[key])).status_code == 302


def test_an_answer_is_a_task_until_it_is_read(cast, answered):
    ReviewNews.objects.create(member=cast.keeper, review=answered, kind="answered")
    client = cast.client_of("keeper")
    assert "A review is answered" in page(client, reverse("today"))
    assert "Your review is answered" in page(client, reverse("review-list"))
    page(client, answered.get_absolute_url())
    assert "A review is answered" not in page(client, reverse("today"))


def test_a_wished_photo_is_a_task_with_the_picture_guide_and_the_photo_ends_it(cast):
    review = make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor, state="taken")
    wish = ViewWish.objects.create(of=review.animals.get(), view="parted_rump", why="Does it hold?")
    client = cast.client_of("keeper")
    today = page(client, reverse("today"))
    assert "Photograph A3 Alder: coat parted at rump" in today
    assert "?view=parted_rump&amp;back=" in today
    text = page(client, review.get_absolute_url())
    assert "Does it hold?" in text
    assert "The same over the hips." in text
    photo = make_photo(cast.daughter, view="rear")
    client.post(reverse("wish-meet", args=[wish.pk]), {"photo": photo.key})
    wish.refresh_from_db()
    assert wish.met_by == photo
    assert "Photograph A3 Alder" not in page(client, reverse("today"))


def test_a_review_whose_last_day_is_past_is_a_task_until_the_owner_opens_it_longer(cast):
    review = make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor, ends_on=day(-2))
    client = cast.client_of("keeper")
    assert "The last day of a review is past" in page(client, reverse("today"))
    assert "The animals are closed to the mentor now." in page(client, review.get_absolute_url())
    url = reverse("review-prolong", args=[review.pk])
    response = client.post(url, {"ends_on": day(-1)})
    assert response.status_code == 422
    assert "This day is past." in response.content.decode()
    client.post(url, {"ends_on": day(9)})
    assert "The last day of a review is past" not in page(client, reverse("today"))
    assert AnimalGrant.objects.running().filter(mentor=cast.mentor, animal=cast.daughter, ends_on=day(9)).exists()


@pytest.mark.parametrize("sent", [{}, {"photo": "no-key"}, {"photo": "2f4f0d0e-93c4-4a39-9b7e-0c7f6e8d1a11"}])
def test_a_wish_is_not_met_by_a_photo_that_is_none(cast, sent):
    review = make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor, state="taken")
    wish = ViewWish.objects.create(of=review.animals.get(), view="top", why="shadow")
    answer = cast.client_of("keeper").post(reverse("wish-meet", args=[wish.pk]), sent, follow=True)
    assert "Choose a photo of this animal." in answer.content.decode()
    wish.refresh_from_db()
    assert wish.settled_at is None


def test_what_waits_for_a_mentor_stands_on_top_of_today(cast):
    make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor)
    make_review(cast.herd, [cast.sire], cast.keeper)
    text = page(cast.client_of("mentor"), reverse("today"))
    assert "A review is asked of you: Ashgrove" in text
    assert "1 request without a mentor" in text
    assert "Waiting for you" not in page(cast.client_of("fellow"), reverse("today"))


# ---- Kept with the animal ----


def test_the_animals_page_keeps_its_reviews_for_keepers_and_for_that_mentor_alone(cast, answered):
    url = cast.daughter.get_absolute_url()
    for who in ("keeper", "co_owner", "revoked_mentor"):
        assert "Look again in prime coat." in page(cast.client_of(who), url), who
    for who in ("fellow", "mentor", "officer", "registrar"):
        assert "Look again in prime coat." not in page(cast.client_of(who), url), who


def test_a_taken_review_tells_its_owner_no_advice_yet_and_its_mentor_nothing_at_all(cast):
    make_review(cast.herd, [cast.daughter], cast.keeper, cast.mentor, state="taken", advice="Half a sentence")
    for who in ("keeper", "mentor"):
        text = page(cast.client_of(who), cast.daughter.get_absolute_url())
        assert "Half a sentence" not in text
        assert ("is being reviewed" in text) == (who == "keeper")


# ---- Talk ----


def test_words_stand_under_their_animal_and_a_refused_one_is_not_lost(cast, answered):
    client = cast.client_of("keeper")
    of = answered.animals.get()
    url = reverse("review-word-create", args=[answered.pk])
    assert client.post(url, {"words": "Which light?", "of": of.pk}).url.endswith(f"#talk-{of.pk}")
    assert client.post(url, {"words": "Thank you."}).url.endswith("#talk")
    long = client.post(url, {"words": "x" * 2001, "of": of.pk})
    assert long.status_code == 422
    assert "x" * 2001 in long.content.decode()
    assert client.post(url, {"words": " "}).status_code == 422
    assert client.post(url, {"words": "Elsewhere", "of": "999999999999999999999"}).status_code == 404
    text = page(cast.client_of("revoked_mentor"), answered.get_absolute_url())
    assert "Which light?" in text
    assert "Thank you." in text


def test_text_is_shown_as_text(cast, answered):
    url = reverse("review-word-create", args=[answered.pk])
    cast.client_of("keeper").post(url, {"words": "<script>alert(1)</script>"})
    text = page(cast.client_of("revoked_mentor"), answered.get_absolute_url())
    assert "<script>alert(1)" not in text
    assert "&lt;script&gt;alert(1)" in text
