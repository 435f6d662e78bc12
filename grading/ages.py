"""The age class of an animal, by whole calendar months.

A month of life is complete on the day of the month on which the animal was born: born on 10 May, it is six months old
on 10 November and was five months old on the 9th. The last day of a shorter month stands in for a day it lacks: born
on 31 August, six months are complete on 28 February. A class holds from its first month, to the day, up to the day
before the next class begins: on the day it turns six months a junior becomes an intermediate, and on the day it turns
eight months a senior. (Counting by whole months is common practice, no source.)
"""

from herds.words import months_and_days


def whole_months(born_on, on):
    """Completed calendar months from birth to a day; ValueError before birth."""
    return months_and_days(born_on, on)[0]


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
