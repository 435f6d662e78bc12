"""Age in whole calendar months, and the age class that follows from it.

A month of life is complete on the day of the month on which the animal was born: born on 10 May, it is six months old
on 10 November and was five months old on the 9th. Where the month has no such day, it is complete on the first day
of the next: born on 31 August, six months are complete on 1 March. A class holds from its first month, to the day,
up to the day before the next class begins: on the day it turns six months, a junior becomes an intermediate, and on
the day it turns eight months a senior. (Counting by whole months is common practice, no source.)
"""


def whole_months(born_on, on):
    """Completed calendar months from birth to a day; negative before birth."""
    return (on.year - born_on.year) * 12 + on.month - born_on.month - (on.day < born_on.day)


def class_at(classes, months):
    """The one of `classes` (with from_months and to_months) that holds at an age in whole months; else None."""
    for each in classes:
        if each.from_months <= months and (each.to_months is None or months < each.to_months):
            return each
    return None


def age_class_of(animal, profile, on):
    """The animal's AgeClass in a profile on a day; None when its birth date is not known or no class fits."""
    if animal.born_on is None or on < animal.born_on:
        return None
    return class_at(profile.age_classes.all(), whole_months(animal.born_on, on))
