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
from grading.actions.calibration_news import invite, invite_what_opens, remind, remind_of_what_closes, tell_results
from grading.calibrating.letters import send_all, send_news
from grading.models import CalibrationNews, CalibrationSet, Seat
from grading.nightly import calibration_letters
from grading.tasks import send_calibration_news
from herds.words import day_words

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
    assert calibration_letters() == "0 members invited, 0 members reminded, 0 letters sent"
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
    assert calibration_letters() == "0 members invited, 0 members reminded, 1 letter sent"
    assert calibration_letters() == "0 members invited, 0 members reminded, 0 letters sent"
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


# the reminder before a set closes


def closing(of_set, cast, *, in_days=3, since=20):
    """The set as it is some nights before its last day; those who were told of its opening heard of it then."""
    opened(of_set, cast)
    today = timezone.localdate()
    days = {"opens_on": today - timedelta(days=since), "closes_on": today + timedelta(days=in_days)}
    CalibrationSet.objects.filter(pk=of_set.pk).update(**days)
    told_at = timezone.now() - timedelta(days=since)
    CalibrationNews.objects.update(at=told_at, mailed_at=told_at, seen_at=told_at)
    DBTaskResult.objects.all().delete()
    of_set.refresh_from_db()
    return of_set


def test_whoever_has_not_finished_is_reminded_once_before_the_set_closes(cast, draft):
    closing(draft, cast)
    begun = Seat.objects.create(of=draft, member=cast.fellow)  # no grader: began all the same
    Seat.objects.create(of=draft, member=cast.keeper, finished_at=timezone.now())
    assert calibration_letters() != "0 members invited, 0 members reminded, 0 letters sent"
    assert {cast.fellow.pk, cast.grader.pk, cast.mentor.pk} <= told("closes")
    assert not {cast.keeper.pk, cast.co_owner.pk, cast.officer.pk, cast.registrar.pk} & told("closes")
    run_waiting()
    for member in (cast.fellow, cast.grader):
        (letter,) = letters_to(member)
        assert letter.subject == "A calibration set closes soon"
        assert draft.get_absolute_url() in letter.body
        assert f"until {day_words(draft.closes_on)}" in letter.body
        for secret in ("Ashgrove", "surface", "undercolor", cast.keeper.name, "C1"):
            assert secret not in letter.subject + letter.body, secret
    assert not letters_to(cast.keeper)
    count = len(mail.outbox)
    for day in range(4):
        assert remind_of_what_closes(on=timezone.localdate() + timedelta(days=day)) == "0 members reminded"
    assert calibration_letters() == "0 members invited, 0 members reminded, 0 letters sent"
    run_waiting()
    assert len(mail.outbox) == count
    assert begun.finished_at is None


@pytest.mark.parametrize(
    ("in_days", "since", "reminds"),
    [(4, 20, False), (3, 20, True), (0, 20, True), (-1, 20, False), (3, 0, False), (2, 1, False), (2, 2, True)],
)
def test_the_reminder_waits_for_its_days_and_a_window_that_is_too_short_has_none(cast, draft, in_days, since, reminds):
    closing(draft, cast, in_days=in_days, since=since)
    Seat.objects.create(of=draft, member=cast.fellow)  # who began is told whenever they heard of the opening
    assert (remind_of_what_closes() != "0 members reminded") is reminds
    assert remind(of_set=draft, days=3) == 0
    assert bool(told("closes")) is reminds


def test_the_club_sets_how_many_days_before(cast, draft):
    closing(draft, cast, in_days=7)
    assert remind_of_what_closes() == "0 members reminded"
    Club.objects.update(calibration_reminder_days=7)
    assert remind_of_what_closes() != "0 members reminded"


def test_whoever_was_invited_within_these_days_is_not_reminded_at_once(cast, draft):
    closing(draft, cast)
    CalibrationNews.objects.filter(member=cast.grader).update(at=timezone.now())
    remind_of_what_closes()
    assert cast.grader.pk not in told("closes")
    assert cast.mentor.pk in told("closes")


def test_a_reminder_is_not_sent_once_the_member_has_finished_or_the_window_is_moved(cast, draft):
    Member.objects.filter(pk__in=[cast.grader.pk, cast.mentor.pk]).update(news_by="daily")
    closing(draft, cast)
    remind_of_what_closes()
    Seat.objects.create(of=draft, member=cast.grader, finished_at=timezone.now())
    assert send_news(cast.grader.pk) == 0
    actions.extend_set(of_set=draft, closes_on=timezone.localdate() + timedelta(days=30), by=cast.officer)
    assert send_news(cast.mentor.pk) == 0
    CalibrationSet.objects.filter(pk=draft.pk).update(closes_on=timezone.localdate() + timedelta(days=1))
    assert send_news(cast.mentor.pk) == 1


def test_nobody_is_reminded_of_a_draft_or_of_a_set_that_was_closed_by_hand(cast, draft):
    today = timezone.localdate()
    days = {"opens_on": today - timedelta(days=9), "closes_on": today + timedelta(days=1)}
    CalibrationSet.objects.filter(pk=draft.pk).update(**days)
    assert remind_of_what_closes() == "0 members reminded"
    closing(draft, cast)
    actions.close_set(of_set=draft, by=cast.officer)
    assert remind_of_what_closes() == "0 members reminded"
    assert not told("closes")


def test_reminding_many_takes_a_fixed_number_of_queries(cast, draft, django_assert_num_queries):
    Member.objects.update(news_by="daily")
    closing(draft, cast)
    with django_assert_num_queries(2):
        assert remind(of_set=draft, days=3) > 2
