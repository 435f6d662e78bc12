"""The calendar's day counts, against the figures of the Merck Veterinary Manual and the trade's usual days.

Source of the days marked Merck: Merck Veterinary Manual, Breeding and Reproduction of Rabbits. Days marked 'common
practice' have no source beyond breeders' usage. Numbers are written out here, not read from the club's defaults.
"""

from datetime import date, timedelta

import pytest

from clubsite.members.models import Club
from herds.calendar import LitterRow, MatingRow, QuarantineRow, Rows, State, due

MATED = date(2026, 3, 1)
BORN = date(2026, 4, 1)


def mating(pk=1, mated_on=MATED, last_day=None, **given):
    given.setdefault("doe_pk", 10 + pk)
    return MatingRow(
        pk=pk, herd=1, doe="A2 Birch", buck="A1 Slate", mated_on=mated_on, last_day=last_day or mated_on, **given
    )


def litter(pk=1, born_on=BORN, alive=6, **given):
    return LitterRow(pk=pk, herd=1, dam="A2 Birch", dam_pk=12, born_on=born_on, alive=alive, **given)


def tasks(day, *, matings=(), litters=(), quarantines=(), **settings):
    """The tasks of a day by kind, with a club of the shipped defaults; no database is asked."""
    club = Club(**settings)
    found = due(day, club, Rows(matings=tuple(matings), litters=tuple(litters), quarantines=tuple(quarantines)))
    return {task.kind: task for task in found}


def on_day(number, start=MATED):
    return start + timedelta(days=number)


def states(kind, days, start, **rows):
    """The state of one kind of task on each of these days after `start`; None where it is not listed."""
    return [
        task.state(on_day(number, start)) if (task := tasks(on_day(number, start), **rows).get(kind)) else None
        for number in days
    ]


def test_palpation_is_due_on_day_12_in_a_window_from_10_to_14():
    task = tasks(on_day(12), matings=[mating()])["palpate"]  # Merck: 10 to 14 days after mating
    assert task.when == on_day(12)
    assert task.window == (on_day(10), on_day(14))
    assert states("palpate", (5, 6, 11, 12, 14, 15), MATED, matings=[mating()]) == [
        None, State.LATER, State.LATER, State.DUE, State.DUE, State.OVERDUE,
    ]  # fmt: skip


def test_the_nest_box_goes_in_on_day_28_or_29():
    task = tasks(on_day(28), matings=[mating()])["nest_box"]  # Merck: 28 to 29 days after mating
    assert task.window == (on_day(28), on_day(29))
    assert states("nest_box", (21, 22, 28, 29, 30), MATED, matings=[mating()]) == [
        None, State.LATER, State.DUE, State.DUE, State.OVERDUE,
    ]  # fmt: skip
    assert "nest_box" not in tasks(on_day(29), matings=[mating(nest_box_on=on_day(28))])


def test_kindling_is_due_on_day_31_and_may_come_from_day_28():
    task = tasks(on_day(30), matings=[mating()])["kindling"]  # Merck: day 31, usually 31 to 33
    assert task.when == on_day(31)
    assert task.window[0] == on_day(28)
    assert states("kindling", (24, 25, 30, 31, 32), MATED, matings=[mating()]) == [
        None, State.LATER, State.LATER, State.DUE, None,
    ]  # fmt: skip


def test_from_day_32_without_a_litter_the_page_says_to_call_a_vet():
    assert "no_litter" not in tasks(on_day(31), matings=[mating()])
    task = tasks(on_day(32), matings=[mating()])["no_litter"]  # Merck: call a vet when there is none by day 32
    assert task.title == "Day 32 and no litter from A2 Birch: call a vet"
    assert task.state(on_day(32)) == State.OVERDUE
    assert "vet" in task.caution


def test_from_day_35_it_is_said_that_kits_born_after_day_34_are_almost_always_dead():
    said = "Kits born after day 34 are almost always dead."  # Merck
    assert said not in tasks(on_day(34), matings=[mating()])["no_litter"].caution
    assert said in tasks(on_day(35), matings=[mating()])["no_litter"].caution


def test_a_vets_line_stands_first():
    rows = [mating(), mating(2, mated_on=on_day(-1)), mating(3, mated_on=on_day(25))]
    club = Club()
    found = due(on_day(31), club, Rows(matings=tuple(rows)))
    assert found[0].kind == "no_litter"
    assert [task.state(on_day(31)) for task in found] == sorted(
        [task.state(on_day(31)) for task in found], key=[State.OVERDUE, State.DUE, State.LATER].index
    )


def test_a_pair_left_together_counts_from_its_first_day_for_the_nest_box_and_from_its_last_for_the_vet():
    row = mating(last_day=on_day(10))
    assert tasks(on_day(22), matings=[row])["palpate"].when == on_day(22)
    assert tasks(on_day(28), matings=[row])["nest_box"].when == on_day(28)
    assert tasks(on_day(31), matings=[row])["kindling"].when == on_day(31)
    assert "no_litter" not in tasks(on_day(41), matings=[row])
    assert "no_litter" in tasks(on_day(42), matings=[row])


def test_a_doe_felt_empty_has_no_nest_box_and_is_offered_to_be_mated_again():
    found = tasks(on_day(28), matings=[mating(palpated_on=on_day(12), felt="empty")])
    assert set(found) == {"empty"}
    assert found["empty"].link_url == "/matings/new/?doe=11"


def test_a_doe_of_which_one_was_not_sure_is_palpated_again():
    row = mating(palpated_on=on_day(12), felt="unsure")
    assert tasks(on_day(14), matings=[row])["palpate"].when == on_day(14)
    assert "palpate" not in tasks(on_day(14), matings=[mating(palpated_on=on_day(12), felt="in_kindle")])


def test_a_mating_repeated_within_three_days_is_one_service():
    again = mating(2, mated_on=on_day(2), doe_pk=11)
    found = due(on_day(14), Club(), Rows(matings=(mating(), again)))
    assert [task.key for task in found] == ["palpate-2"]


def test_an_earlier_mating_that_may_have_taken_keeps_its_nest_box():
    again = mating(2, mated_on=on_day(14), doe_pk=11)
    assert tasks(on_day(28), matings=[mating(), again])["nest_box"].key == "nest_box-1"


def test_the_first_look_into_the_nest_is_due_within_24_hours():
    assert states("first_check", (0, 1, 2), BORN, litters=[litter()]) == [State.DUE, State.DUE, State.OVERDUE]
    assert tasks(BORN, litters=[litter()])["first_check"].answers[0].label == "All 6 alive"
    assert "first_check" not in tasks(BORN, litters=[litter(checked=True)])


def test_the_nest_box_comes_out_about_three_weeks_after_birth():
    assert tasks(on_day(21, BORN), litters=[litter()])["nest_box_out"].when == on_day(21, BORN)  # common practice
    assert "nest_box_out" not in tasks(on_day(21, BORN), litters=[litter(nest_box_out=True)])


@pytest.mark.parametrize("day", [21, 35, 56, 70])  # 3, 5, 8 and 10 weeks: breeders' pages
def test_a_litter_is_weighed_at_three_five_eight_and_ten_weeks(day):
    assert tasks(on_day(day, BORN), litters=[litter()])["weigh"].key == f"weigh-1-{day}"
    weighed = litter(weighed_on=(on_day(day, BORN),))
    later = tasks(on_day(day, BORN), litters=[weighed]).get("weigh")
    assert later is None or later.key != f"weigh-1-{day}"


def test_a_weighing_a_few_days_early_or_late_still_counts():
    for day in (18, 21, 24, 31):
        found = due(on_day(max(day, 21), BORN), Club(), Rows(litters=(litter(weighed_on=(on_day(day, BORN),)),)))
        assert "weigh-1-21" not in [task.key for task in found], day
    assert "weigh" in tasks(on_day(21, BORN), litters=[litter(weighed_on=(on_day(17, BORN),))])


def test_weaning_is_due_from_six_to_eight_weeks():
    assert tasks(on_day(42, BORN), litters=[litter()])["wean"].window == (on_day(42, BORN), on_day(56, BORN))
    assert states("wean", (35, 36, 42, 56, 57), BORN, litters=[litter()]) == [
        None, State.LATER, State.DUE, State.DUE, State.OVERDUE,
    ]  # fmt: skip
    assert "wean" not in tasks(on_day(42, BORN), litters=[litter(weaned=True)])


def test_the_dam_may_be_mated_again_from_day_35_to_42():
    assert tasks(on_day(35, BORN), litters=[litter()])["rebreed"].window == (on_day(35, BORN), on_day(42, BORN))
    assert "rebreed" not in tasks(on_day(35, BORN), litters=[litter(dam_mated_since=True)])
    assert "rebreed" not in tasks(on_day(35, BORN), litters=[litter(dam_stays=False)])


def test_a_litter_with_no_kit_left_asks_only_about_its_dam():
    assert set(tasks(on_day(36, BORN), litters=[litter(alive=0)])) == {"rebreed"}


def test_a_litter_born_after_day_34_is_looked_at_with_a_caution():
    late = litter(carried_days=35)  # Merck: kits born after day 34 are almost always dead
    assert "day 35" in tasks(BORN, litters=[late])["first_check"].caution
    assert tasks(BORN, litters=[litter(carried_days=34)])["first_check"].caution == ""


def test_a_quarantine_is_announced_and_ends():
    row = QuarantineRow(pk=5, herd=1, animal="A9 Flint", animal_pk=9, planned_until=on_day(30))
    assert states("quarantine", (23, 24, 30, 31), MATED, quarantines=[row]) == [
        None, State.LATER, State.DUE, State.OVERDUE,
    ]  # fmt: skip


def test_the_club_sets_its_own_days():
    settings = {"palpation_days": 14, "nest_box_days": 27, "due_days": 30, "overdue_days": 33}
    found = tasks(on_day(30), matings=[mating(nest_box_on=on_day(27))], **settings)
    assert found["kindling"].when == on_day(30)
    assert "no_litter" not in tasks(on_day(32), matings=[mating()], **settings)
    assert "no_litter" in tasks(on_day(33), matings=[mating()], **settings)
    assert tasks(on_day(14), matings=[mating()], **settings)["palpate"].window == (on_day(12), on_day(16))
    assert tasks(on_day(28, BORN), litters=[litter()], weigh_days=[28])["weigh"].key == "weigh-1-28"
    assert "weigh" not in tasks(on_day(28, BORN), litters=[litter()], weigh_days=[])


def test_lines_long_past_their_window_fall_away():
    assert tasks(on_day(200), matings=[mating()]) == {}
    assert tasks(on_day(200, BORN), litters=[litter()]) == {}


def test_nothing_in_gives_nothing_out():
    assert due(MATED, Club(), Rows()) == []
