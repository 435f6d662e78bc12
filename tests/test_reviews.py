"""Reviews: an owner asks, a mentor takes, requests are handed on, both talk, news go out without content."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from grading.actions.reviews import ask_review, take_review
from grading.models import Photo, Review, ReviewNews
from herds.models import Animal, AnimalGrant

from .factories import make_photo


def day(ahead):
    return timezone.localdate() + timedelta(days=ahead)


def ask(cast, **given):
    """A request of the keeper's about sire and daughter, put to the mentor whose herd grant was revoked."""
    asked = {"animals": [cast.daughter, cast.sire], "question": "keep", "ends_on": day(30), "by": cast.keeper}
    return ask_review(herd=cast.herd, **{"mentor": cast.revoked_mentor, **asked, **given})


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


def test_the_queue_opens_nothing_until_a_mentor_takes_the_request_and_the_first_one_has_it(cast):
    review = ask(cast, mentor=None)
    assert not AnimalGrant.objects.exists()
    assert set(Review.objects.in_queue_for(cast.mentor)) == {review}
    assert take_review(review=review, by=cast.mentor).mentor == cast.mentor
    with pytest.raises(ValidationError, match="no longer in the queue"):
        take_review(review=review, by=cast.revoked_mentor)
    assert {grant.mentor for grant in AnimalGrant.objects.all()} == {cast.mentor}
    assert take_review(review=review, by=cast.mentor).state == "taken"
