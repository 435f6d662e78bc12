"""The planner for a mentor: whom they may choose, what it must not tell them, and pairs that become proposals."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from grading.actions import season as actions
from grading.models import SeasonItem, SeasonNews, Trait
from herds.models import Animal, Grant, Quarantine
from pedigrees.models import PlannedMating

from .factories import (
    make_animal,
    make_animal_grant,
    make_look,
    make_mating,
    make_profile,
    make_review,
)
from .queries import queries_of

YEAR = timezone.localdate().year
WHY = "Her undercolor, his surface."


@pytest.fixture
def steps(cast):
    """`steps(surface, undercolor)` for a look, with a schedule in force."""
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed, traits=[surface, undercolor])
    return lambda one, other: {surface: one, (undercolor, "loin"): other}


def address(cast, does=(), bucks=(), **more):
    chosen = [*(f"doe={each.pk}" for each in does), *(f"buck={each.pk}" for each in bucks)]
    chosen += [f"{name}={value}" for name, value in more.items()]
    return reverse("season-pairs", args=[cast.herd.slug]) + ("?" + "&".join(chosen) if chosen else "")


def send(cast, pairs, who="mentor", url=None, **given):
    data = {"pair": [f"{doe.pk}-{buck.pk}" for doe, buck in pairs], "why": WHY, "season": YEAR} | given
    return cast.client_of(who).post(url or address(cast), data)


def offered(buck):
    Animal.objects.filter(pk=buck.pk).update(offered_to_club=True)
    buck.refresh_from_db()
    return buck


def test_a_mentor_weighs_up_the_herds_does_with_its_bucks_and_those_offered_to_the_club(cast, steps):
    for animal in (cast.dam, cast.sire):
        make_look(animal, cast.keeper, steps=steps(6, 7))
    client = cast.client_of("mentor")
    choice = client.get(address(cast)).context["form"].fields
    assert set(choice["doe"].queryset) == {cast.dam, cast.daughter}
    assert set(choice["buck"].queryset) == {cast.sire}
    offered(cast.other_buck)
    page = client.get(address(cast, [cast.dam, cast.daughter], [cast.sire, cast.other_buck]))
    text = page.content.decode()
    assert "M1 Flint" in text
    assert "Surface shade 6" in text
    assert "Close mating." in text
    assert "Put into the plan" not in text
    assert "Propose to the owner" in text
    assert reverse("plan-add", args=[cast.herd.slug]) not in text
    assert reverse("plan", args=[cast.herd.slug]) + '"' not in text


def test_chosen_pairs_become_proposals_that_the_owner_answers_one_by_one(cast):
    pairs = [(cast.dam, cast.sire), (cast.daughter, offered(cast.other_buck))]
    answer = send(cast, pairs, url=address(cast, [cast.dam, cast.daughter], [cast.sire, cast.other_buck]))
    assert answer.url == reverse("barn", args=[cast.herd.slug]) + "#plan"
    items = list(SeasonItem.objects.order_by("pk"))
    assert [(item.animal, item.buck, item.aim, item.why, item.written_by) for item in items] == [
        (doe, buck, "mate", WHY, cast.mentor) for doe, buck in pairs
    ]
    assert not PlannedMating.objects.exists()
    assert SeasonNews.objects.filter(member=cast.keeper).count() == 2
    actions.accept_item(item=items[0], by=cast.keeper, version=items[0].version)
    actions.decline_item(item=items[1], by=cast.keeper, version=items[1].version, answer="Too far to drive.")
    assert PlannedMating.objects.get().doe == cast.dam
    text = cast.client_of("mentor").get(reverse("barn", args=[cast.herd.slug])).content.decode()
    assert "<b>Why not:</b> Too far to drive." in text


def test_what_waits_or_was_accepted_is_left_and_what_was_declined_may_be_proposed_anew(cast):
    first, second = (cast.dam, cast.sire), (cast.daughter, offered(cast.other_buck))
    send(cast, [first])
    said = cast.client_of("mentor").post(
        address(cast), {"pair": [f"{d.pk}-{b.pk}" for d, b in (first, second)], "why": WHY, "season": YEAR}, follow=True
    )
    assert "1 mating proposed. 1 stood there already." in said.content.decode()
    assert SeasonItem.objects.count() == 2
    item = SeasonItem.objects.get(animal=cast.dam)
    actions.accept_item(item=item, by=cast.keeper, version=item.version)
    send(cast, [first])
    assert SeasonItem.objects.count() == 2
    item = SeasonItem.objects.get(animal=cast.daughter)
    actions.decline_item(item=item, by=cast.keeper, version=item.version)
    send(cast, [second])
    assert SeasonItem.objects.count() == 3


def test_a_form_sent_twice_proposes_once(cast):
    key = "6f1f9a3c-2f0e-4f52-9d0c-1b6c3f1f0a11"
    for _ in range(2):
        send(cast, [(cast.dam, cast.sire)], submission_key=key)
    assert SeasonItem.objects.count() == 1


def test_a_mistake_shows_the_page_again_with_what_was_typed_and_ticked(cast):
    make_animal(cast.herd, "B9", sex="buck")
    url = address(cast, [cast.dam, cast.daughter], [cast.sire])
    answer = send(cast, [(cast.dam, cast.sire)], url=url, why="  ")
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Say why: the owner decides by the reason." in text
    assert f'value="{cast.dam.pk}-{cast.sire.pk}" checked' in text
    assert f'value="{cast.daughter.pk}-{cast.sire.pk}">' in text
    none = send(cast, [], url=url)
    assert none.status_code == 422
    assert "Choose at least one pair." in none.content.decode()
    assert WHY in none.content.decode()
    assert not SeasonItem.objects.exists()


def test_animals_that_left_or_were_never_to_choose_are_refused_and_the_words_stay(cast):
    stranger = make_animal(cast.other_herd, "M9", sex="doe")
    for doe, buck in ((stranger, cast.sire), (cast.dam, cast.other_buck), (cast.sire, cast.sire)):
        answer = send(cast, [(doe, buck)], url=address(cast, [doe], [buck]))
        assert answer.status_code == 422
        assert WHY in answer.content.decode()
    client = cast.client_of("mentor")
    for pair in ("x", "1-2-3", f"{cast.dam.pk}-{'9' * 40}", f"{cast.dam.pk}-"):
        assert client.post(address(cast), {"pair": [pair], "why": WHY, "season": YEAR}).status_code == 422
    assert not SeasonItem.objects.exists()


def test_more_pairs_than_an_owner_can_read_are_refused(cast):
    does = [make_animal(cast.herd, f"N{number}", sex="doe") for number in range(41)]
    with pytest.raises(ValidationError, match="propose at most 40 at a time"):
        actions.propose_pairs(
            herd=cast.herd, by=cast.mentor, season=YEAR, pairs=[(doe, cast.sire) for doe in does], why=WHY
        )


def test_the_best_set_for_all_is_proposed_in_one_step(cast):
    text = cast.client_of("mentor").get(address(cast, [cast.dam], [cast.sire], best="on")).content.decode()
    assert "One set for all" in text
    assert f'value="{cast.dam.pk}-{cast.sire.pk}" checked' in text
    assert "Put this set into the plan" not in text


@pytest.mark.parametrize("who", ["keeper", "fellow", "revoked_mentor", "grader", "officer"])
def test_nobody_without_a_running_grant_of_the_herd_comes_in(cast, who):
    make_animal_grant(cast.dam, cast.grader, cast.keeper)
    assert cast.client_of(who).get(address(cast, [cast.dam], [cast.sire])).status_code == 404
    assert not SeasonItem.objects.exists()
    if who == "keeper":
        assert send(cast, [(cast.dam, cast.sire)], who).status_code == 404


def test_a_grant_that_ends_while_the_mentor_chooses_gives_the_words_back_and_proposes_nothing(cast):
    Grant.objects.filter(mentor=cast.mentor).update(revoked_at=timezone.now(), revoked_by=cast.keeper)
    answer = send(cast, [(cast.dam, cast.sire)])
    assert answer.status_code == 409
    assert WHY in answer.content.decode()
    assert "Birch" not in answer.content.decode()
    with pytest.raises(actions.HerdClosed):
        actions.propose_pairs(herd=cast.herd, by=cast.mentor, season=YEAR, pairs=[(cast.dam, cast.sire)], why=WHY)
    assert not SeasonItem.objects.exists()


def test_animals_to_be_graded_blind_are_not_weighed_up(cast, steps):
    for animal in (cast.dam, cast.sire):
        make_look(animal, cast.keeper, steps=steps(6, 7))
    make_review(cast.herd, [cast.dam], cast.keeper, cast.mentor, state="taken")
    make_animal_grant(cast.dam, cast.mentor, cast.keeper)
    page = cast.client_of("mentor").get(address(cast))
    assert set(page.context["form"].fields["doe"].queryset) == {cast.daughter}
    assert "1 animal left out" in page.content.decode()
    asked = cast.client_of("mentor").get(address(cast, [cast.dam], [cast.sire]))
    assert asked.status_code == 422
    assert "Surface shade 6" not in asked.content.decode()


@pytest.mark.parametrize("with_log", [False, True])
def test_the_herds_log_is_told_only_where_the_grant_opens_it_and_quarantine_never(cast, with_log):
    Grant.objects.filter(mentor=cast.mentor).update(with_log=with_log)
    today = timezone.localdate()
    make_mating(cast.dam, cast.sire, mated_on=today - timedelta(days=9))
    Quarantine.objects.create(animal=cast.sire, planned_until=today + timedelta(days=9))
    text = cast.client_of("mentor").get(address(cast, [cast.dam], [cast.sire])).content.decode().lower()
    assert ("not yet kindled" in text) is with_log
    assert "in quarantine" not in text
    offered(cast.sire)
    text = cast.client_of("mentor").get(address(cast, [cast.dam], [cast.sire])).content.decode().lower()
    assert "in quarantine until" in text


def test_no_look_that_only_the_mentor_may_see_is_written_to_the_owner(cast, steps):
    Grant.objects.create(herd=cast.other_herd, mentor=cast.mentor, granted_by=cast.fellow, ends_on=timezone.localdate())
    make_look(cast.dam, cast.keeper, steps=steps(6, 6))
    make_look(cast.other_buck, cast.fellow, steps=steps(9, 1))
    url = address(cast, [cast.dam], [offered(cast.other_buck)])
    assert "You may see no look" not in cast.client_of("mentor").get(url).content.decode()
    send(cast, [(cast.dam, cast.other_buck)], url=url)
    item = SeasonItem.objects.get()
    assert item.why == WHY
    assert (
        "Surface shade" not in cast.client_of("keeper").get(reverse("season-answer", args=[item.pk])).content.decode()
    )
    accepted = actions.accept_item(item=item, by=cast.keeper, version=item.version)
    assert any("You may see no look of M1 Flint" in said for said in accepted.mating.reasons)


def test_queries_do_not_grow_with_the_pairs(cast, steps):
    counts = []
    for size in (2, 6):
        does = [make_animal(cast.herd, f"D{size}{each}", sex="doe") for each in range(size)]
        bucks = [make_animal(cast.herd, f"B{size}{each}", sex="buck") for each in range(size)]
        for animal in (*does, *bucks):
            make_look(animal, cast.keeper, steps=steps(6, 6))
        counts.append(queries_of(cast.client_of("mentor"), address(cast, does, bucks)))
    assert counts == [counts[0]] * 2
    assert counts[0] <= 40
