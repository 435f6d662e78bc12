"""Whatever stands in a cell is read, left open, or refused in a sentence; no cell stops a sheet."""

from datetime import date, datetime, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from herds.sheets import cells, days, weights
from herds.units import NotAWeight

TODAY = date(2026, 11, 25)
WORDS = st.text(max_size=40) | st.text("0123456789./-, :lbozkg½'\"()?xT", max_size=16)
CELLS = st.none() | st.booleans() | st.integers() | st.floats() | WORDS | st.dates() | st.datetimes()
ORDERS = st.sampled_from([None, *days.ORDERS])
UNITS = st.sampled_from(["", *weights.UNITS])


@given(CELLS, ORDERS)
@example(float("nan"), None)
@example(float("inf"), days.DAY_FIRST)
@example("٣/٤/٢٠٢٢", None)
@example("99999999", None)
def test_a_day_is_read_left_open_or_refused_in_words(cell, order):
    found = days.read_day(cell, order, TODAY)
    if found.day is not None:
        assert days.EARLIEST <= found.day <= TODAY
    told = (found.day, found.partial, found.open, found.wrong)
    assert sum(map(bool, told)) <= 1
    days.looks_like_day(cell)
    days.order_of([cell])


@given(CELLS, UNITS)
@example(float("nan"), weights.KG)
@example(float("inf"), "")
@example("9" * 400, weights.POUNDS)
@example("9 lb 99 oz", "")
def test_a_weight_is_one_a_rabbit_can_have_or_is_refused_in_words(cell, unit):
    grams, refusal = None, ""
    try:
        grams = weights.read_grams(cell, unit)
    except weights.NoUnit:
        refusal = "" if unit else "Which unit?"
        assert refusal
    except NotAWeight as told:
        refusal = str(told)
    assert grams is None or weights.LEAST <= grams <= weights.MOST
    assert not refusal or refusal[-1] in ".?"


@given(CELLS)
def test_sex_place_and_count_are_known_words_or_none(cell):
    assert cells.read_sex(cell) in {"buck", "doe", "unknown", None}
    assert cells.read_place(cell) in {*cells.OWN_PLACES.values(), None}
    count = cells.read_count(cell)
    assert count is None or 0 <= count < 1000
    assert "\n" not in cells.text(cell)


@given(st.dates(days.EARLIEST, TODAY), st.sampled_from([days.DAY_FIRST, days.MONTH_FIRST, days.YEAR_FIRST]))
def test_a_day_written_in_an_order_is_read_back_in_it(day, order):
    form = {days.DAY_FIRST: "{2}/{1}/{0}", days.MONTH_FIRST: "{1}/{2}/{0}", days.YEAR_FIRST: "{0}-{1}-{2}"}[order]
    assert days.read_day(form.format(day.year, day.month, day.day), order, TODAY).day == day


@given(st.dates(days.EARLIEST, TODAY))
def test_a_spreadsheets_own_number_of_a_day_is_read_back(day):
    """ECMA-376 part 1, 18.17.4.1: the 1900 date system; 1 January 2000 is 36526 there."""
    assert days.read_day(float((day - date(1999, 12, 31)).days + 36525), None, TODAY).day == day


@pytest.mark.parametrize("number", [18_264, 36_526, 46_000])
def test_the_number_of_a_day_agrees_with_openpyxl(number):
    from openpyxl.utils.datetime import from_excel

    assert days.read_day(number, None, TODAY + timedelta(days=9000)).day == from_excel(number).date()


@given(st.datetimes(datetime(1950, 1, 1), datetime(2026, 11, 24)))
def test_a_cell_that_is_a_moment_is_its_day(moment):
    assert days.read_day(moment, None, TODAY).day == moment.date()


@given(st.integers(weights.LEAST, weights.MOST))
def test_grams_and_kilograms_are_read_back_to_the_gram(grams):
    assert weights.read_grams(f"{grams} g") == grams
    assert weights.read_grams(f"{grams / 1000:.3f} kg") == grams
