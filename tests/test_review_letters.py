"""Letters about reviews: at once and bundled, once a day, or never; and nothing in them but that something waits."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from clubsite.members.models import Club, Member
from grading.actions import reviews as actions
from grading.models import ReviewNews
from grading.review_letters import send_digests, send_news
from grading.tasks import send_review_news

from .factories import make_review

WAITING = {"status": "READY", "task_path": send_review_news.module_path}


@pytest.fixture
def review(cast):
    return make_review(
        cast.herd, [cast.daughter], cast.keeper, cast.mentor, state="taken", words="Why is Alder so dark?"
    )


def wishes(member, news_by):
    Member.objects.filter(pk=member.pk).update(news_by=news_by)
    member.refresh_from_db()


def test_several_news_within_minutes_are_one_letter_that_tells_nothing_but_where(cast, review):
    for words in ("The undercolor of Alder is pale.", "And the muzzle is dark."):
        actions.say(review=review, words=words, by=cast.mentor)
    jobs = DBTaskResult.objects.filter(**WAITING)
    assert jobs.count() == 2
    assert all(job.run_after > timezone.now() + timedelta(minutes=3) for job in jobs)
    assert [send_review_news.call(member=cast.keeper.pk) for _ in jobs] == [2, 0]
    (letter,) = mail.outbox
    assert letter.to == [cast.keeper.email]
    assert letter.subject == "Something waits for you in a review"
    assert review.get_absolute_url() in letter.body
    assert reverse("profile-update") in letter.body
    assert Club.current().name in letter.body
    for secret in ("Alder", "A3", "undercolor", "dark", "Ashgrove", "Anselm", cast.mentor.name, "Why"):
        assert secret not in letter.body + letter.subject, secret


def test_the_club_that_is_a_demonstration_says_so(cast, review):
    Club.current()
    Club.objects.update(is_demo=True)
    actions.say(review=review, words="Look", by=cast.mentor)
    send_news(cast.keeper.pk)
    assert "the club is invented" in mail.outbox[0].body


def test_a_member_who_wishes_one_letter_a_day_gets_it_in_the_night(cast, review):
    wishes(cast.keeper, "daily")
    review.refresh_from_db()
    actions.say(review=review, words="One", by=cast.mentor)
    actions.say(review=review, words="Two", by=cast.mentor)
    assert not DBTaskResult.objects.filter(**WAITING).exists()
    assert send_digests() == "1 letters sent"
    assert "at most one such letter a day" in mail.outbox[0].body
    assert send_digests() == "0 letters sent"
    assert len(mail.outbox) == 1


def test_a_member_who_wishes_no_letters_gets_none_and_reads_the_news_on_the_page(cast, review):
    wishes(cast.keeper, "never")
    actions.say(review=review, words="One", by=cast.mentor)
    assert not DBTaskResult.objects.filter(**WAITING).exists()
    assert (send_news(cast.keeper.pk), send_digests()) == (0, "0 letters sent")
    assert not mail.outbox
    assert "Somebody wrote under a review" in cast.client_of("keeper").get(reverse("review-list")).content.decode()


def test_what_was_read_on_the_page_is_not_mailed(cast, review):
    actions.say(review=review, words="One", by=cast.mentor)
    cast.client_of("keeper").get(review.get_absolute_url())
    assert send_news(cast.keeper.pk) == 0


def test_a_letter_that_the_post_refused_is_tried_again_in_the_night(cast, review, monkeypatch):
    def refuse(*args):
        raise OSError("no connection")

    actions.say(review=review, words="One", by=cast.mentor)
    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", refuse)
        assert send_news(cast.keeper.pk) == 0
    assert ReviewNews.objects.get().mailed_at is None
    assert send_digests() == "1 letters sent"
    assert len(mail.outbox) == 1


def test_news_of_two_reviews_lead_to_the_list_and_so_do_those_of_one_that_is_closed_to_the_member(cast, review):
    other = make_review(cast.herd, [cast.sire], cast.keeper, cast.mentor, state="taken")
    for each in (review, other):
        actions.say(review=each, words="One", by=cast.mentor)
    send_news(cast.keeper.pk)
    assert mail.outbox[0].subject == "Something waits for you in 2 reviews"
    assert mail.outbox[0].body.count(reverse("review-list")) == 1
    actions.withdraw_review(review=review, by=cast.keeper)
    send_news(cast.mentor.pk)
    assert review.get_absolute_url() not in mail.outbox[1].body
    assert f"{reverse('review-list')}\n" in mail.outbox[1].body
    text = cast.client_of("mentor").get(reverse("review-list")).content.decode()
    assert "A review was withdrawn: Ashgrove" in text
    assert "A review was withdrawn" not in cast.client_of("mentor").get(reverse("review-list")).content.decode()


def test_nobody_who_left_is_written_to(cast, review):
    actions.say(review=review, words="One", by=cast.mentor)
    Member.objects.filter(pk=cast.keeper.pk).update(is_active=False)
    assert (send_news(cast.keeper.pk), send_digests()) == (0, "0 letters sent")
    assert send_news(10**9) == 0
