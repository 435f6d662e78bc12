"""Reviews: an owner asks, a mentor takes, requests are handed on, both talk, and who leaves."""

from datetime import timedelta
from threading import Barrier, Thread

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.db import connection
from django.utils import timezone

from clubsite.errors import NotYours
from clubsite.members.models import Club
from clubsite.members.places import PLACES
from grading.actions import reviews as actions
from grading.actions.reviews import ask_review, take_review
from grading.models import Drawing, Look, Photo, Review, ReviewAnimal, ReviewNews, ReviewWord, ViewWish
from grading.nightly import hand_on_reviews
from grading.review_letters import send_news
from herds.actions.herds import add_owner
from herds.models import Animal, AnimalGrant

from .cast import make_cast
from .factories import make_animal, make_herd, make_look, make_member, make_photo, make_review


def day(ahead):
    return timezone.localdate() + timedelta(days=ahead)


def ask(cast, **given):
    """A request of the keeper's about sire and daughter, put to the mentor whose herd grant was revoked."""
    asked = {"animals": [cast.daughter, cast.sire], "question": "keep", "ends_on": day(30), "by": cast.keeper}
    return ask_review(herd=cast.herd, **{"mentor": cast.revoked_mentor, **asked, **given})


def told(member=None):
    news = ReviewNews.objects.filter(member=member) if member else ReviewNews.objects.all()
    return [row.kind for row in news.order_by("pk")]


def running(mentor):
    return set(AnimalGrant.objects.running().filter(mentor=mentor).values_list("animal", flat=True))


# ---- Asking ----


def test_asking_opens_the_animals_and_no_others_to_the_mentor_in_the_same_step(cast):
    photos = {each: make_photo(each) for each in (cast.daughter, cast.sire, cast.dam)}
    review = ask(cast)
    mentor = cast.revoked_mentor
    assert [each.animal for each in review.animals.all()] == [cast.daughter, cast.sire]
    assert set(Photo.objects.visible_to(mentor)) == {photos[cast.daughter], photos[cast.sire]}
    assert set(Animal.objects.gradable_by(mentor)) == {cast.daughter, cast.sire}
    assert {grant.ends_on for grant in AnimalGrant.objects.filter(mentor=mentor)} == {day(30)}
    assert [(row.member, row.kind) for row in ReviewNews.objects.all()] == [(mentor, "asked")]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"animals": []}, "Choose at least one animal."),
        ({"question": "why"}, "Choose what you want to know."),
        ({"question": "other"}, "Say in your own words"),
        ({"question": "other", "words": "  "}, "Say in your own words"),
        ({"words": "x" * 2001}, "Shorten this to 2,000 letters."),
        ({"ends_on": day(-1)}, "This day is past."),
        ({"ends_on": day(1000)}, "two years at most"),
    ],
)
def test_a_request_with_a_mistake_is_refused_and_opens_nothing(cast, changes, sentence):
    with pytest.raises(ValidationError, match=sentence):
        ask(cast, **changes)
    assert not AnimalGrant.objects.exists()
    assert not Review.objects.exists()


def test_more_than_forty_animals_are_asked_for_twice(cast):
    many = [make_animal(cast.herd) for _ in range(41)]
    with pytest.raises(ValidationError, match="40 animals at most, and you chose 41"):
        ask(cast, animals=many)
    assert ask(cast, animals=many[:40]).animals.count() == 40


def test_animals_of_another_herd_and_those_that_left_are_named_and_refused(cast):
    with pytest.raises(ValidationError, match="M1 Flint no longer in Ashgrove"):
        ask(cast, animals=[cast.daughter, cast.other_buck])
    Animal.objects.filter(pk=cast.sire.pk).update(status="died", status_on=day(0))
    with pytest.raises(ValidationError, match="A1 Slate no longer in Ashgrove"):
        ask(cast)


def test_only_an_adult_mentor_who_takes_requests_and_keeps_another_herd_is_asked(cast):
    youth = make_member("Wren Millbrook", guardian=cast.fellow)
    for mentor, sentence in (
        (cast.fellow, "takes no requests"),
        (youth, "adult member"),
        (cast.co_owner, "keeps this herd"),
        (cast.keeper, "keeps this herd"),
    ):
        with pytest.raises(ValidationError, match=sentence):
            ask(cast, mentor=mentor)


def test_a_youth_asks_through_the_guardian(cast):
    youth = make_member("Wren Millbrook", guardian=cast.fellow)
    herd = make_herd(youth, name="Wren's")
    animal = make_animal(herd)
    asked = {"herd": herd, "animals": [animal], "question": "keep", "ends_on": day(9), "mentor": cast.mentor}
    with pytest.raises(ValidationError, match="Ask your guardian, Rhea Millbrook"):
        ask_review(by=youth, **asked)
    review = ask_review(by=cast.fellow, **asked)
    assert set(Review.objects.visible_to(youth)) == {review}
    with pytest.raises(ValidationError, match="for adults"):
        actions.say(review=review, words="Thank you", by=youth)
    wish = ViewWish.objects.create(of=review.animals.get(), view="top", why="shadow")
    with pytest.raises(ValidationError, match="for adults"):
        actions.decline_wish(wish=wish, why="He bites.", by=youth)
    actions.meet_wish(wish=wish, photo=make_photo(animal, view="top"), by=youth)


def test_nobody_asks_for_a_strangers_herd(cast):
    with pytest.raises(NotYours):
        ask(cast, by=cast.fellow)


def test_one_animal_lies_before_one_mentor_once_and_before_another_too(cast):
    ask(cast)
    with pytest.raises(ValidationError, match="A3 Alder lies before Berit Stonewell already"):
        ask(cast, animals=[cast.daughter])
    ask(cast, animals=[cast.daughter], mentor=cast.mentor)
    ask(cast, animals=[cast.daughter], mentor=None)
    with pytest.raises(ValidationError, match="lies before the club's queue already"):
        ask(cast, animals=[cast.daughter], mentor=None)


# ---- Taking, handing on, taking back ----


def test_the_queue_opens_nothing_until_a_mentor_takes_the_request_and_the_first_one_has_it(cast):
    review = ask(cast, mentor=None)
    assert not AnimalGrant.objects.exists()
    assert set(Review.objects.in_queue_for(cast.mentor)) == {review}
    assert take_review(review=review, by=cast.mentor).mentor == cast.mentor
    with pytest.raises(ValidationError, match="no longer in the queue"):
        take_review(review=review, by=cast.revoked_mentor)
    assert {grant.mentor for grant in AnimalGrant.objects.all()} == {cast.mentor}
    assert {grant.granted_by for grant in AnimalGrant.objects.all()} == {cast.keeper}
    assert take_review(review=review, by=cast.mentor).state == "taken"


def test_the_owner_hears_once_that_a_request_was_taken_out_of_the_queue(cast):
    review = ask(cast, mentor=None)
    for _ in range(2):
        take_review(review=review, by=cast.mentor)
    assert [(row.member, row.kind) for row in ReviewNews.objects.all()] == [(cast.keeper, "taken")]
    assert send_news(cast.keeper.pk) == 1
    (letter,) = mail.outbox
    assert review.get_absolute_url() in letter.body
    for secret in ("Alder", "Slate", "A3", "Ashgrove", cast.mentor.name):
        assert secret not in letter.subject + letter.body, secret
    actions.hand_on(review=review, by=cast.mentor)
    assert told(cast.keeper) == ["taken", "handed_on"]
    assert not told(cast.mentor), "nobody is told of what they did themselves"


def test_a_request_that_was_put_to_a_mentor_is_taken_without_a_letter(cast):
    take_review(review=ask(cast), by=cast.revoked_mentor)
    assert not told(cast.keeper)


@pytest.mark.django_db(transaction=True)
def test_of_two_mentors_who_take_at_the_same_moment_one_waits_and_reads_that_it_is_gone():
    cast = make_cast()
    review = ask(cast, mentor=None)
    start, said = Barrier(2), {}

    def take(mentor):
        start.wait(timeout=10)
        try:
            take_review(review=review, by=mentor)
            said[mentor.name] = "has it"
        except ValidationError as refusal:
            said[mentor.name] = refusal.messages[0]
        finally:
            connection.close()

    both = [Thread(target=take, args=[mentor]) for mentor in (cast.mentor, cast.revoked_mentor)]
    for each in both:
        each.start()
    for each in both:
        each.join(timeout=20)
    assert sorted(said.values()) == [actions.GONE_FROM_QUEUE, "has it"]
    assert AnimalGrant.objects.running().values("mentor").distinct().count() == 1


def test_who_may_not_mentor_takes_nothing_from_the_queue(cast):
    review = ask(cast, mentor=None)
    for member in (cast.fellow, cast.co_owner, make_member("Wren Millbrook", guardian=cast.fellow)):
        with pytest.raises(ValidationError, match="no longer in the queue"):
            take_review(review=review, by=member)
    assert not AnimalGrant.objects.exists()


def test_a_request_whose_last_day_is_past_or_whose_animals_have_all_left_is_not_taken(cast):
    review = ask(cast, mentor=None)
    Animal.objects.filter(pk=cast.sire.pk).update(herd=cast.other_herd)
    taken = take_review(review=review, by=cast.mentor)
    assert running(cast.mentor) == {cast.daughter.pk}, "what stands in another herd stays closed"
    late = ask(cast, animals=[cast.dam])
    Review.objects.filter(pk=late.pk).update(ends_on=day(-1))
    with pytest.raises(ValidationError, match="which is past"):
        take_review(review=late, by=cast.revoked_mentor)
    gone = ask(cast, animals=[cast.dam], mentor=None)
    Animal.objects.filter(pk=cast.dam.pk).update(herd=cast.other_herd)
    with pytest.raises(ValidationError, match="None of these animals stands in Ashgrove any more"):
        take_review(review=gone, by=cast.mentor)
    assert taken.state == "taken"


def test_taken_back_closes_the_animals_at_once_and_shows_the_mentors_draft_to_nobody(cast):
    review = ask(cast)
    take_review(review=review, by=cast.revoked_mentor)
    ReviewAnimal.objects.filter(review=review).update(advice="Half written")
    actions.withdraw_review(review=review, by=cast.co_owner)
    assert not running(cast.revoked_mentor)
    assert not Review.objects.visible_to(cast.revoked_mentor).exists()
    assert set(review.animals.values_list("advice", flat=True)) == {"Half written"}
    page = cast.client_of("keeper").get(review.get_absolute_url()).content.decode()
    assert "Half written" not in page
    assert "It was taken back" in page
    assert told(cast.revoked_mentor) == ["asked", "withdrawn"]
    with pytest.raises(ValidationError, match="This review is over"):
        actions.withdraw_review(review=review, by=cast.keeper)


def test_a_mentor_hands_a_request_on_and_what_was_written_stays_as_words(cast):
    review = take_review(review=ask(cast), by=cast.revoked_mentor)
    first = review.animals.get(animal=cast.daughter)
    look = make_look(cast.daughter, cast.revoked_mentor, mode="photo", role="mentor")
    ReviewAnimal.objects.filter(pk=first.pk).update(
        look=look, graded_at=timezone.now(), advice="Wait a month.", opinion="grow_on", opinion_reason="molting"
    )
    photo = make_photo(cast.daughter)
    Drawing.objects.create(of=first, photo=photo, shape="arrow", x1=0.1, y1=0.1, x2=0.5, y2=0.5, words="warm here")
    actions.hand_on(review=review, by=cast.revoked_mentor)
    review.refresh_from_db()
    first.refresh_from_db()
    assert (review.state, review.mentor, review.first_mentor) == ("asked", None, cast.revoked_mentor)
    assert (first.look, first.advice, first.opinion) == (None, "", "")
    word = ReviewWord.objects.get()
    assert word.author == cast.revoked_mentor
    for part in ("Wait a month.", "Opinion: grow on, because molting", "warm here"):
        assert part in word.words
    assert Look.objects.filter(pk=look.pk).exists()
    assert not running(cast.revoked_mentor)
    assert told(cast.keeper) == ["handed_on"]
    assert told(cast.revoked_mentor) == ["asked"], "nobody is told of what they did themselves"
    assert set(Review.objects.in_queue_for(cast.mentor)) == {review}


def test_the_night_hands_on_what_nobody_answered_and_reminds_of_what_was_taken(cast):
    Club.current()
    Club.objects.update(handing_on_days=14)
    waiting, taken = ask(cast), ask(cast, animals=[cast.dam])
    take_review(review=taken, by=cast.revoked_mentor)
    assert hand_on_reviews() == "0 requests handed on, 0 mentors reminded"
    late = timezone.now() + timedelta(days=15)
    assert hand_on_reviews(now=late) == "1 requests handed on, 1 mentors reminded"
    waiting.refresh_from_db()
    taken.refresh_from_db()
    assert (waiting.mentor, waiting.state) == (None, "asked")
    assert (taken.mentor, taken.state) == (cast.revoked_mentor, "taken")
    assert running(cast.revoked_mentor) == {cast.dam.pk}
    assert told(cast.keeper) == ["handed_on"]
    assert told(cast.revoked_mentor) == ["asked", "asked", "handed_on", "asked"]


def test_a_mentor_who_was_shut_out_keeps_no_request(cast):
    review = take_review(review=ask(cast), by=cast.revoked_mentor)
    type(cast.mentor).objects.filter(pk=cast.revoked_mentor.pk).update(is_active=False)
    assert hand_on_reviews() == "1 requests handed on, 0 mentors reminded"
    review.refresh_from_db()
    assert review.mentor is None


def test_a_mentor_who_keeps_the_herd_now_hands_on_and_a_closed_herd_asks_nothing(cast):
    review = take_review(review=ask(cast), by=cast.revoked_mentor)
    add_owner(herd=cast.herd, email=cast.revoked_mentor.email, by=cast.keeper)
    assert hand_on_reviews() == "1 requests handed on, 0 mentors reminded"
    review.refresh_from_db()
    assert review.mentor is None
    type(cast.herd).objects.filter(pk=cast.herd.pk).update(closed_on=day(0))
    hand_on_reviews()
    review.refresh_from_db()
    assert review.state == "withdrawn"


def test_an_owner_opens_a_review_longer_or_shorter(cast):
    review = take_review(review=ask(cast), by=cast.revoked_mentor)
    review.animals.filter(animal=cast.sire).update(graded_at=timezone.now(), photo_problem="dark")
    AnimalGrant.objects.filter(animal=cast.sire).update(with_looks=True)
    actions.prolong_review(review=review, ends_on=day(3), by=cast.co_owner)
    grants = AnimalGrant.objects.running()
    assert {grant.ends_on for grant in grants} == {day(3)}
    assert {grant.animal for grant in grants if grant.with_looks} == {cast.sire}, "what was graded stays open"
    with pytest.raises(NotYours):
        actions.prolong_review(review=review, ends_on=day(90), by=cast.revoked_mentor)


# ---- Talking, wishes, acting ----


def test_owner_and_mentor_talk_and_strangers_do_not(cast):
    review = ask(cast)
    about = review.animals.first()
    actions.say(review=review, words=" Which light? ", of=about, by=cast.revoked_mentor)
    actions.say(review=review, words="Open shade.", of=about, by=cast.co_owner)
    assert [str(word.words) for word in about.talk.all()] == ["Which light?", "Open shade."]
    assert told(cast.keeper) == ["word"], "the one who asked hears of it"
    assert told(cast.revoked_mentor) == ["asked", "word"]
    for stranger in (cast.fellow, cast.mentor, cast.officer):
        with pytest.raises(NotYours):
            actions.say(review=review, words="Me too", by=stranger)
    with pytest.raises(ValidationError):
        actions.say(review=review, words="   ", by=cast.keeper)
    other = ask(cast, animals=[cast.dam])
    with pytest.raises(NotYours):
        actions.say(review=other, words="Elsewhere", of=about, by=cast.keeper)


def test_a_new_photo_of_the_wished_view_meets_the_wish_and_tells_the_mentor(cast):
    review = take_review(review=ask(cast), by=cast.revoked_mentor)
    wish = ViewWish.objects.create(of=review.animals.get(animal=cast.sire), view="top", why="shadow")
    assert actions.photo_came(photo=make_photo(cast.sire, view="rear"), by=cast.keeper) == 0
    photo = make_photo(cast.sire, view="top")
    assert actions.photo_came(photo=photo, by=cast.keeper) == 1
    wish.refresh_from_db()
    assert wish.met_by == photo
    assert told(cast.revoked_mentor) == ["asked", "photo"]


def test_a_wish_is_met_by_a_photo_that_is_there_or_declined_with_a_reason(cast):
    review = take_review(review=ask(cast), by=cast.revoked_mentor)
    of = review.animals.get(animal=cast.sire)
    wishes = [ViewWish.objects.create(of=of, view=view, why="shadow") for view in ("top", "rear")]
    with pytest.raises(ValidationError, match="Choose a photo of this animal"):
        actions.meet_wish(wish=wishes[0], photo=make_photo(cast.dam), by=cast.keeper)
    with pytest.raises(NotYours):
        actions.meet_wish(wish=wishes[0], photo=make_photo(cast.sire), by=cast.revoked_mentor)
    actions.meet_wish(wish=wishes[0], photo=make_photo(cast.sire), by=cast.keeper)
    with pytest.raises(ValidationError, match="Say in a few words why not"):
        actions.decline_wish(wish=wishes[1], why=" ", by=cast.keeper)
    actions.decline_wish(wish=wishes[1], why="He bites.", by=cast.keeper)
    with pytest.raises(ValidationError, match="settled meanwhile"):  # a co-owner at the same time: it is not sent
        actions.decline_wish(wish=wishes[1], why="Again", by=cast.co_owner)
    with pytest.raises(ValidationError, match="settled meanwhile"):
        actions.meet_wish(wish=wishes[1], photo=make_photo(cast.sire), by=cast.co_owner)
    assert [wish.declined for wish in ViewWish.objects.order_by("pk")] == ["", "He bites."]
    assert told(cast.revoked_mentor) == ["asked", "photo", "photo"]


def test_only_the_owner_puts_an_opinion_aside_and_only_once_it_is_answered(cast):
    mentor = cast.revoked_mentor
    review = make_review(cast.herd, [cast.sire], cast.keeper, mentor, state="taken")
    of = review.animals.get()
    with pytest.raises(NotYours):
        actions.act_on(of=of, by=cast.keeper)
    Review.objects.filter(pk=review.pk).update(state="answered", closed_at=timezone.now())
    with pytest.raises(NotYours):
        actions.act_on(of=of, by=mentor)
    actions.act_on(of=of, by=cast.co_owner)
    of.refresh_from_db()
    assert of.acted_at


# ---- Leaving the club ----


def test_a_mentor_who_leaves_hands_on_and_an_owner_who_leaves_takes_back(cast):
    leaving = PLACES.leavings["reviews"]
    ask(cast)
    alone = make_member("Juno Wetherby")
    herd = make_herd(alone, name="Wetherby")
    own = ask_review(
        herd=herd, animals=[make_animal(herd)], question="keep", ends_on=day(9), mentor=cast.mentor, by=alone
    )
    assert "1 review request put to you goes to the club's queue." in " ".join(leaving.explain(cast.revoked_mentor))
    assert "1 review request of your herd is taken back." in list(leaving.explain(alone))
    assert not list(leaving.explain(cast.keeper)), "the co-owner goes on with it"
    leaving.carry_out(cast.revoked_mentor, cast.officer)
    leaving.carry_out(alone, alone)
    leaving.carry_out(cast.keeper, cast.keeper)
    assert [(row.state, row.mentor) for row in Review.objects.order_by("pk")] == [
        ("asked", None),
        ("withdrawn", cast.mentor),
    ]
    assert not AnimalGrant.objects.running().exists()
    assert own.pk


def test_reviews_advice_and_talk_are_in_both_members_data_and_drafts_are_the_mentors_alone(cast):
    mentor = cast.revoked_mentor
    files = PLACES.files
    done = make_review(
        cast.herd, [cast.sire], cast.keeper, mentor, state="answered", summary="All good", advice="Keep him warm"
    )
    running_one = make_review(cast.herd, [cast.dam], cast.keeper, mentor, state="taken", advice="Not sent yet")
    ViewWish.objects.create(of=done.animals.get(), view="top", why="shadow")
    Drawing.objects.create(
        of=done.animals.get(), photo=make_photo(cast.sire), shape="box", x1=0.1, y1=0.1, x2=0.5, y2=0.5
    )
    ReviewWord.objects.create(review=done, author=mentor, words="You are welcome")
    for member in (cast.keeper, mentor):
        assert {row[0] for row in files["reviews"].rows(member)} == {done.pk, running_one.pk}
        for name in ("review-drawings", "review-wishes", "review-talk"):
            assert len(list(files[name].rows(member))) == 1, name
    advice = {
        name: [row[5] for row in files["review-animals"].rows(getattr(cast, name))]
        for name in ("keeper", "revoked_mentor")
    }
    assert advice == {"keeper": ["Keep him warm"], "revoked_mentor": ["Keep him warm", "Not sent yet"]}
    assert not list(files["reviews"].rows(cast.fellow))


def test_a_mentors_own_data_name_no_animal_that_is_still_to_be_graded_blind(cast):
    mentor = cast.revoked_mentor
    review = make_review(cast.herd, [cast.dam, cast.sire], cast.keeper, mentor, state="taken")
    blind, graded = review.animals.order_by("position")
    for of in (blind, graded):
        ViewWish.objects.create(of=of, view="top", why="shadow")
        ReviewWord.objects.create(review=review, of=of, author=cast.keeper, words=f"{of.animal} was wet")
        of.look = make_look(of.animal, mentor, mode="photo", role="mentor")
        of.graded_at = timezone.now() if of == graded else None
        of.save()
    files = PLACES.files
    told = {name: str(list(files[name].rows(mentor))) for name in files if name.startswith(("review", "look"))}
    for name, rows in told.items():
        assert str(cast.dam) not in rows, name
    for name in ("review-animals", "review-wishes", "review-talk", "looks"):
        assert str(cast.sire) in told[name], name
    for name in ("review-wishes", "review-talk", "looks"):
        assert str(cast.dam) in str(list(files[name].rows(cast.keeper))), name
