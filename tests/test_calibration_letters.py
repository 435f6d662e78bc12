"""Letters about the calibration: who is told of what, once, as they wish; and nothing in them but where to read it."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from clubsite.members.models import Club, Member
from grading.actions import calibration as actions
from grading.actions.calibration_news import invite, invite_what_opens, tell_results
from grading.calibrating.letters import send_all, send_news
from grading.models import CalibrationNews, CalibrationSet, Seat
from grading.nightly import calibration_letters
from grading.tasks import send_calibration_news

from .calibration_making import answered, eyes, make_set, opened, traits_of, truths, worked_out

WAITING = {"status": "READY", "task_path": send_calibration_news.module_path}


@pytest.fixture
def draft(cast):
    return make_set(cast, name="The Ashgrove photos")


def told(kind):
    return set(CalibrationNews.objects.filter(kind=kind).values_list("member", flat=True))


def letters_to(member):
    return [letter for letter in mail.outbox if letter.to == [member.email]]


def run_waiting():
    """What the worker does with the jobs for letters."""
    for job in DBTaskResult.objects.filter(**WAITING):
        send_calibration_news.call(**job.args_kwargs["kwargs"])


def finished(of_set, *members):
    """The set after its window, answered by the members."""
    truth = truths(of_set)
    for seed, member in enumerate(members):
        answered(of_set, member, eyes(truth, seed=seed))
    return worked_out(of_set)


def test_those_who_grade_are_told_once_when_a_set_opens_and_others_are_not(cast, draft):
    assert not CalibrationNews.objects.exists()
    opened(draft, cast)
    assert {cast.grader.pk, cast.keeper.pk} <= told("opened")
    assert not {cast.officer.pk, cast.registrar.pk, cast.fellow.pk} & told("opened")
    assert DBTaskResult.objects.filter(**WAITING).count() == len(told("opened"))
    run_waiting()
    run_waiting()
    assert invite_what_opens() == "0 members invited"
    (letter,) = letters_to(cast.grader)
    assert letter.subject == "A calibration set is open for you"
    assert draft.get_absolute_url() in letter.body
    assert reverse("profile-update") in letter.body
    assert Club.current().name in letter.body


def test_no_letter_tells_what_the_set_holds_or_how_anybody_graded(cast, draft):
    opened(draft, cast)
    run_waiting()
    finished(draft, cast.grader, cast.keeper, cast.mentor)
    run_waiting()
    (opening, result) = letters_to(cast.grader)
    assert result.subject == "A calibration result is there"
    assert reverse("calibration-result", args=[draft.pk]) in result.body
    for letter in (opening, result):
        text = letter.subject + letter.body
        for secret in ("Ashgrove", "surface", "undercolor", "kappa", "lean", cast.mentor.name, cast.keeper.name, "C1"):
            assert secret not in text, secret


def test_whoever_answered_is_told_of_the_result_and_the_officer_of_the_spread(cast, draft):
    opened(draft, cast)
    Seat.objects.create(of=draft, member=cast.fellow)
    finished(draft, cast.grader, cast.keeper)
    assert told("result") == {cast.grader.pk, cast.keeper.pk, cast.officer.pk}
    run_waiting()
    assert f"{draft.get_absolute_url()}\n" in letters_to(cast.officer)[0].body


def test_a_set_that_is_worked_out_again_is_no_news(cast, draft):
    opened(draft, cast)
    finished(draft, cast.grader, cast.keeper)
    run_waiting()
    before = len(mail.outbox)
    actions.work_out(of_set=draft)
    run_waiting()
    assert len(mail.outbox) == before


def test_a_set_that_opens_later_invites_in_the_night_of_its_first_day(cast):
    today = timezone.localdate()
    later = make_set(cast, opens_on=today + timedelta(days=3))
    opened(later, cast)
    assert calibration_letters() == "0 members invited, 0 letters sent"
    assert not told("opened")
    assert invite_what_opens(on=today + timedelta(days=3)) != "0 members invited"
    assert cast.grader.pk in told("opened")


def test_a_member_gets_their_letter_at_once_or_in_the_night_or_never_as_they_wish(cast, draft):
    Member.objects.filter(pk=cast.grader.pk).update(news_by="daily")
    Member.objects.filter(pk=cast.keeper.pk).update(news_by="never")
    opened(draft, cast)
    run_waiting()
    assert not letters_to(cast.grader)
    assert not letters_to(cast.keeper)
    assert calibration_letters() == "0 members invited, 1 letter sent"
    assert calibration_letters() == "0 members invited, 0 letters sent"
    assert len(letters_to(cast.grader)) == 1
    assert not letters_to(cast.keeper)


def test_what_was_read_on_the_page_is_not_mailed(cast, draft):
    opened(draft, cast)
    cast.client_of("grader").get(draft.get_absolute_url())
    cast.client_of("keeper").post(reverse("calibration-grade", args=[draft.pk]))
    finished(draft, cast.grader, cast.keeper)
    cast.client_of("grader").get(reverse("calibration-result", args=[draft.pk]))
    assert (send_news(cast.grader.pk), send_news(cast.keeper.pk)) == (0, 1)
    assert [letter.subject for letter in mail.outbox] == ["A calibration result is there"]


def test_an_invitation_that_comes_after_the_window_is_not_sent(cast, draft):
    opened(draft, cast)
    late = timezone.now() + timedelta(days=6)
    CalibrationSet.objects.filter(pk=draft.pk).update(closes_on=timezone.localdate() + timedelta(days=5))
    assert send_news(cast.grader.pk, now=late) == 0
    assert send_news(cast.grader.pk) == 1


def test_what_waited_a_week_without_a_letter_is_on_the_page_alone(cast, draft):
    opened(draft, cast)
    assert send_all(now=timezone.now() + timedelta(days=8)) == "0 letters sent"


def test_news_of_two_sets_are_one_letter_that_leads_to_the_list(cast, draft):
    opened(draft, cast)
    finished(draft, cast.grader, cast.keeper)
    opened(make_set(cast, first=20, traits=traits_of()), cast)
    assert send_news(cast.grader.pk) == 2
    (letter,) = mail.outbox
    assert letter.subject == "Calibration: a set is open, and a result is there"
    assert f"{reverse('calibration-list')}\n" in letter.body


def test_a_letter_that_the_post_refused_is_tried_again_in_the_night(cast, draft, monkeypatch):
    def refuse(*args):
        raise OSError("no connection")

    opened(draft, cast)
    count = len(told("opened"))
    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", refuse)
        run_waiting()
    assert not CalibrationNews.objects.filter(mailed_at__isnull=False).exists()
    assert send_all() == f"{count} letters sent"


def test_nobody_who_left_is_written_to(cast, draft):
    opened(draft, cast)
    Member.objects.filter(pk=cast.grader.pk).update(is_active=False)
    assert send_news(cast.grader.pk) == 0
    assert send_news(10**9) == 0
    finished(draft, cast.grader, cast.keeper)
    assert cast.grader.pk not in told("result")


def test_telling_many_takes_a_fixed_number_of_queries(cast, draft, django_assert_num_queries):
    Member.objects.update(news_by="daily")
    of_set = opened(draft, cast)
    CalibrationNews.objects.all().delete()
    with django_assert_num_queries(2):
        assert invite(of_set=of_set) > 2
    with django_assert_num_queries(2):
        assert tell_results(of_set=of_set) == 1


def test_the_officer_reads_that_graders_are_told(cast, draft):
    response = cast.client_of("officer").post(reverse("calibration-open", args=[draft.pk]), follow=True)
    assert "those who grade are told by e-mail, if they wish so" in response.content.decode()
