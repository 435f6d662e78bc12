"""Ages, sexes and counts in words, the same on every page."""

from calendar import monthrange

from .models import Sex

WEEKS_UNTIL_MONTHS = 3
DAYS_UNTIL_MONTHS = 12
MONTHS_UNTIL_YEARS = 36


def add_months(day, months):
    """The day that many whole calendar months later; the last of a shorter month stands in for a day it lacks."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return day.replace(year=year, month=month + 1, day=min(day.day, monthrange(year, month + 1)[1]))


def months_and_days(born, on):
    """Age as whole calendar months and the days left over; ValueError before the birth."""
    if on < born:
        raise ValueError(f"{on} lies before the birth on {born}.")
    months = (on.year - born.year) * 12 + on.month - born.month
    if add_months(born, months) > on:
        months -= 1
    return months, (on - add_months(born, months)).days


def latest_birth(on, months):
    """The latest day of birth at which that many whole months of age are complete on a day."""
    day = add_months(on, -months)
    if on.day == monthrange(on.year, on.month)[1]:  # the last of a month stands in for the days it lacks
        return day.replace(day=monthrange(day.year, day.month)[1])
    return day


def count_words(number, one, many=None):
    """'1 doe', '3 does', '1,200 kits'."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def age_words(born, on):
    """An age as a breeder says it: '9 days', '9 weeks', '5 months 3 days', '14 months', '3 years 2 months'."""
    if born is None:
        return "age not known"
    if on < born:
        return "not born yet"
    months, days = months_and_days(born, on)
    whole = (on - born).days
    if whole < 14:
        return count_words(whole, "day") if whole else "born today"
    if months < WEEKS_UNTIL_MONTHS:
        return count_words(whole // 7, "week")
    if months < DAYS_UNTIL_MONTHS:
        return _joined(count_words(months, "month"), days and count_words(days, "day"))
    if months < MONTHS_UNTIL_YEARS:
        return count_words(months, "month")
    years, rest = divmod(months, 12)
    return _joined(count_words(years, "year"), rest and count_words(rest, "month"))


def _joined(first, second):
    return f"{first} {second}" if second else first


def day_words(day):
    """'3 May 2026', or '' for no day."""
    return f"{day.day} {day:%B %Y}" if day else ""


def sex_word(sex):
    """'buck', 'doe' or 'sex unknown' for a value of Sex."""
    return str(Sex(sex).label)


def parent_word(sex):
    """'sire', 'dam' or 'parent' for what an animal of that sex is to its progeny."""
    return {Sex.BUCK: "sire", Sex.DOE: "dam"}.get(sex, "parent")


def listed(words):
    """'A1', 'A1 and A2', 'A1, A2 and A3'."""
    *head, last = [str(word) for word in words] or [""]
    return f"{', '.join(head)} and {last}" if head else last


def card_words(animal):
    """What tells one animal from another of the same mark: 'doe, born 3 May 2026, Ashgrove'."""
    born = f"born {day_words(animal.born_on)}" if animal.born_on else ""
    return ", ".join(word for word in (animal.get_sex_display(), born, animal.breeder) if word)
