"""Letters about a season's plan: who hears of what, one for an hour; and nothing in them but where to read it."""

from datetime import timedelta

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from clubsite.members.models import Club, Member
from grading.actions import season as actions
from grading.barn.letters import send_all, send_news
from grading.models import SeasonNews
from grading.season_tasks import errands
from grading.tasks import send_season_news
from herds.actions.herds import add_owner
from herds.models import Grant

from .factories import make_animal, make_grant, make_herd, make_member

WAITING = {"status": "READY", "task_path": send_season_news.module_path}
YEAR = timezone.localdate().year
HOUR = timedelta(hours=1)


def proposed(cast, herd=None, by=None, **given):
    given = {"season": YEAR, "aim": "keep", "animal": cast.daughter, "why": "Dark to the skin."} | given
    return actions.propose(herd=herd or cast.herd, by=by or cast.mentor, **given)


@pytest.fixture
def items(cast):
    """Ten proposals that the owners have read; no letter of them waits."""
    made = [
        proposed(cast, aim="look", animal=make_animal(cast.herd, f"L{number}"), why="In prime.")
        for number in range(10)
    ]  # fmt: skip
    SeasonNews.objects.all().delete()
    DBTaskResult.objects.all().delete()
    return made


def told(kind=None):
    rows = SeasonNews.objects.filter(kind=kind) if kind else SeasonNews.objects.all()
    return sorted(rows.values_list("member", flat=True))


def back(minutes):
    """All that was told by now is so many minutes older than it was."""
    for row in SeasonNews.objects.all():
        SeasonNews.objects.filter(pk=row.pk).update(at=row.at - timedelta(minutes=minutes))


def wishes(member, news_by):
    Member.objects.filter(pk=member.pk).update(news_by=news_by)
    member.refresh_from_db()


def test_ten_answers_in_an_hour_are_one_letter_to_the_mentor(cast, items):
    for number, item in enumerate(items):
        actions.decline_item(item=item, by=cast.keeper, version=item.version, answer="Alder is sold.")
        if number < 9:
            back(6)
            assert send_news(cast.mentor.pk) == 0, "the hour is not over"
    assert told() == [cast.mentor.pk] * 10
    jobs = DBTaskResult.objects.filter(**WAITING)
    assert all(job.run_after > timezone.now() + timedelta(minutes=59) for job in jobs)
    back(6)
    assert [send_season_news.call(member=cast.mentor.pk) for _ in jobs] == [10] + [0] * 9
    (letter,) = mail.outbox
    assert letter.to == [cast.mentor.email]
    assert letter.subject == "Something waits for you in a season's plan"
    assert reverse("season-detail", args=[items[0].pk]) in letter.body
    assert reverse("profile-update") in letter.body
    assert Club.current().name in letter.body
    for secret in ("Alder", "A3", "L1", "sold", "declined", "Ashgrove", "ashgrove", "prime", "look"):
        assert secret not in letter.subject + letter.body, secret


def test_what_comes_after_the_letter_waits_for_an_hour_of_its_own(cast, items):
    first, second = items[:2]
    actions.accept_item(item=first, by=cast.keeper, version=first.version)
    now = timezone.now()
    assert send_news(cast.mentor.pk, now=now + HOUR) == 1
    actions.accept_item(item=second, by=cast.keeper, version=second.version)
    SeasonNews.objects.filter(item=second).update(at=now + HOUR)
    assert send_news(cast.mentor.pk, now=now + 2 * HOUR - timedelta(minutes=1)) == 0
    assert send_news(cast.mentor.pk, now=now + 2 * HOUR) == 1
    assert len(mail.outbox) == 2


def test_owners_hear_of_what_is_proposed_and_nobody_else(cast):
    proposed(cast)
    proposed(cast, aim="let_go", animal=cast.dam)
    assert told("proposed") == sorted([cast.keeper.pk, cast.co_owner.pk] * 2)
    later = timezone.now() + HOUR
    assert [send_news(member.pk, now=later) for member in (cast.keeper, cast.co_owner, cast.mentor)] == [2, 2, 0]
    assert send_news(cast.keeper.pk, now=later + HOUR) == 0
    assert [letter.to for letter in mail.outbox] == [[cast.keeper.email], [cast.co_owner.email]]
    for secret in ("Alder", "Birch", "A2", "A3", "Ashgrove", "ashgrove", "skin", cast.mentor.name, "let go"):
        assert secret not in mail.outbox[0].subject + mail.outbox[0].body, secret


def test_of_a_youths_herd_the_guardian_hears(cast):
    youth = make_member("Wren Ashgrove", guardian=cast.fellow)
    herd = make_herd(youth, name="Littlewood")
    make_grant(herd, cast.mentor, cast.fellow)
    proposed(cast, herd=herd, animal=make_animal(herd, "W1"))
    assert told() == [cast.fellow.pk]
    assert send_news(cast.fellow.pk, now=timezone.now() + HOUR) == 1


def test_a_change_is_news_after_the_proposal_was_read_and_saving_the_same_is_none(cast):
    item = proposed(cast)
    same = {"season": YEAR, "aim": "keep", "animal": cast.daughter, "why": item.why}
    changed = same | {"why": "Look again in spring."}
    item = actions.change_item(item=item, by=cast.mentor, version=item.version, **changed)
    cast.client_of("keeper").get(reverse("barn", args=[cast.herd.slug]))
    item = actions.change_item(item=item, by=cast.mentor, version=item.version, **changed)
    assert send_news(cast.keeper.pk, now=timezone.now() + HOUR) == 0
    actions.change_item(item=item, by=cast.mentor, version=item.version, **same)
    assert send_news(cast.keeper.pk, now=timezone.now() + HOUR) == 1


def test_what_was_read_on_the_page_is_not_mailed_and_its_errand_goes(cast, items):
    actions.accept_item(item=items[0], by=cast.keeper, version=items[0].version)
    (errand,) = errands(cast.mentor)
    assert (errand.title, errand.detail) == ("Your proposals for Ashgrove are answered", "1 answer")
    assert errand.title in cast.client_of("mentor").get(reverse("today")).content.decode()
    assert not list(errands(cast.keeper))
    cast.client_of("mentor").get(reverse("barn", args=[cast.herd.slug]))
    assert not list(errands(cast.mentor))
    assert send_news(cast.mentor.pk, now=timezone.now() + HOUR) == 0


def test_news_that_no_longer_hold_are_not_sent(cast, items):
    later = timezone.now() + HOUR
    taken_back, answered = proposed(cast), proposed(cast, aim="let_go")
    actions.withdraw_item(item=taken_back, by=cast.mentor)
    actions.accept_item(item=answered, by=cast.co_owner, version=answered.version)
    assert send_news(cast.keeper.pk, now=later) == 0
    Grant.objects.filter(mentor=cast.mentor).update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    assert send_news(cast.mentor.pk, now=later) == 0
    assert not list(errands(cast.mentor))
    assert not mail.outbox


def test_who_left_the_herd_or_the_club_is_not_written_to(cast):
    proposed(cast)
    later = timezone.now() + HOUR
    cast.herd.ownerships.filter(member=cast.co_owner).update(until=timezone.localdate())
    Member.objects.filter(pk=cast.keeper.pk).update(is_active=False)
    assert [send_news(pk, now=later) for pk in (cast.co_owner.pk, cast.keeper.pk, 10**9)] == [0, 0, 0]


def test_a_mentor_who_answers_for_themself_as_an_owner_is_told_nothing(cast, items):
    add_owner(herd=cast.herd, email=cast.mentor.email, by=cast.keeper)
    actions.decline_item(item=items[0], by=cast.mentor, version=items[0].version)
    assert not told()
    actions.decline_item(item=items[1], by=cast.keeper, version=items[1].version)
    assert send_news(cast.mentor.pk, now=timezone.now() + HOUR) == 1


def test_a_member_gets_one_letter_a_day_or_none_as_they_wish(cast, items):
    wishes(cast.mentor, "daily")
    wishes(cast.keeper, "never")
    proposed(cast)
    item = actions.SeasonItem.objects.get(pk=items[0].pk)
    actions.accept_item(item=item, by=cast.keeper, version=item.version)
    assert {job.args_kwargs["kwargs"]["member"] for job in DBTaskResult.objects.filter(**WAITING)} == {cast.co_owner.pk}
    assert send_all() == "2 letters sent"
    assert {letter.to[0] for letter in mail.outbox} == {cast.mentor.email, cast.co_owner.email}
    assert "at most one such letter a day" in next(m.body for m in mail.outbox if m.to == [cast.mentor.email])
    assert send_all() == "0 letters sent"


def test_plans_of_two_herds_are_one_letter_that_leads_to_today(cast, items):
    make_grant(cast.other_herd, cast.mentor, cast.fellow)
    other = proposed(cast, herd=cast.other_herd, animal=cast.other_buck)
    actions.accept_item(item=items[0], by=cast.keeper, version=items[0].version)
    actions.decline_item(item=other, by=cast.fellow, version=other.version)
    assert send_news(cast.mentor.pk, now=timezone.now() + HOUR) == 2
    assert f"{reverse('today')}\n" in mail.outbox[0].body
    assert [errand.title for errand in errands(cast.mentor)] == [
        "Your proposals for Ashgrove are answered", "Your proposals for Millbrook are answered",
    ]  # fmt: skip


def test_a_letter_that_the_post_refused_is_tried_again_in_the_night(cast, monkeypatch):
    def refuse(*args):
        raise OSError("no connection")

    wishes(cast.co_owner, "never")
    proposed(cast)
    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", refuse)
        assert send_news(cast.keeper.pk, now=timezone.now() + HOUR) == 0
    assert send_all() == "1 letter sent"


def test_the_address_in_a_letter_leads_whoever_may_read_the_plan_to_it(cast, items):
    url = reverse("season-detail", args=[items[3].pk])
    for who, status in (("keeper", 302), ("mentor", 302), ("fellow", 404), ("revoked_mentor", 404), ("officer", 404)):
        assert cast.client_of(who).get(url).status_code == status, who
    assert cast.client_of("mentor").get(url).url.endswith(f"#item-{items[3].pk}")


def test_telling_of_many_takes_as_many_queries_as_of_one(cast, django_assert_num_queries):
    Member.objects.update(news_by="daily")
    does = [make_animal(cast.herd, f"D{number}", sex="doe") for number in range(12)]
    for part in (does[:2], does[2:]):
        with django_assert_num_queries(7):
            pairs = [(doe, cast.sire) for doe in part]
            actions.propose_pairs(herd=cast.herd, by=cast.mentor, season=YEAR, pairs=pairs, why="Both dark.")
    assert len(told()) == 24
