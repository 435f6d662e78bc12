import random
from datetime import date, timedelta

import pytest
from django.db import connection

from herds.words import add_months, age_words, count_words, latest_birth, listed, months_and_days, parent_word, sex_word

BORN = date(2026, 5, 3)


@pytest.mark.parametrize(
    ("on", "words"),
    [
        (date(2026, 5, 2), "not born yet"),
        (date(2026, 5, 3), "born today"),
        (date(2026, 5, 4), "1 day"),
        (date(2026, 5, 16), "13 days"),
        (date(2026, 5, 17), "2 weeks"),
        (date(2026, 7, 7), "9 weeks"),
        (date(2026, 8, 2), "13 weeks"),
        (date(2026, 8, 3), "3 months"),
        (date(2026, 10, 6), "5 months 3 days"),
        (date(2027, 5, 2), "11 months 29 days"),
        (date(2027, 5, 3), "12 months"),
        (date(2027, 7, 30), "14 months"),
        (date(2029, 7, 3), "3 years 2 months"),
        (date(2029, 5, 3), "3 years"),
    ],
)
def test_an_age_is_said_as_a_breeder_says_it(on, words):
    assert age_words(BORN, on) == words


def test_an_unknown_birth_date_has_no_age():
    assert age_words(None, date(2026, 5, 3)) == "age not known"


@pytest.mark.parametrize(
    ("born", "months", "then"),
    [
        (date(2026, 8, 31), 1, date(2026, 9, 30)),
        (date(2026, 8, 31), 6, date(2027, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2028, 2, 29), 12, date(2029, 2, 28)),
        (date(2026, 5, 3), -6, date(2025, 11, 3)),
    ],
)
def test_a_month_that_lacks_the_day_ends_on_its_last(born, months, then):
    assert add_months(born, months) == then


def test_months_agree_with_postgresql(db):
    """Reference: PostgreSQL's own addition of months to a date, an implementation outside the project."""
    dice = random.Random(3)
    cases = [(date(2000, 1, 1) + timedelta(days=dice.randrange(15_000)), dice.randrange(200)) for _ in range(400)]
    with connection.cursor() as cursor:
        for born, months in cases:
            cursor.execute("SELECT (%s::date + make_interval(months => %s))::date", [born, months])
            then = cursor.fetchone()[0]
            assert add_months(born, months) == then
            assert months_and_days(born, then) == (months, 0)
            assert months_and_days(born, then + timedelta(days=5)) == (months, 5)


def test_the_latest_birth_is_the_last_day_with_that_many_months():
    for day in (date(2027, 2, 28), date(2028, 2, 28), date(2028, 2, 29), date(2027, 3, 30), date(2026, 11, 30), BORN):
        for months in (0, 1, 3, 6, 8, 13):
            born = latest_birth(day, months)
            assert months_and_days(born, day)[0] >= months
            assert born == day or months == 0 or months_and_days(born + timedelta(days=1), day)[0] == months - 1


def test_a_day_before_the_birth_has_no_months():
    with pytest.raises(ValueError, match="before the birth"):
        months_and_days(BORN, BORN - timedelta(days=1))


def test_small_words():
    assert count_words(1, "doe") == "1 doe"
    assert count_words(0, "doe") == "0 does"
    assert count_words(1200, "kit") == "1,200 kits"
    assert listed(["A1"]) == "A1"
    assert listed(["A1", "A2", "A3"]) == "A1, A2 and A3"
    assert (sex_word("buck"), sex_word("unknown")) == ("buck", "sex unknown")
    assert (parent_word("buck"), parent_word("doe"), parent_word("unknown")) == ("sire", "dam", "parent")
