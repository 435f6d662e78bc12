"""Whether a sire and a dam can be the parents of an animal, said in sentences that name the animals."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import Q

from clubsite.members.models import Club
from herds.models import YOUNGEST_PARENT_DAYS, Animal, Sex
from herds.words import age_words, count_words, day_words, parent_word

ROLES = {"sire": Sex.BUCK, "dam": Sex.DOE}

ANCESTORS = """
    WITH RECURSIVE up(id) AS (
        SELECT unnest(%s::bigint[])
        UNION
        SELECT unnest(ARRAY[a.sire_id, a.dam_id]) FROM herds_animal a JOIN up ON a.id = up.id)
    SELECT 1 FROM up WHERE id = %s
"""


def descends_from(animal, ancestor):
    """True when `ancestor` is the animal itself or stands anywhere above it."""
    with connection.cursor() as cursor:
        cursor.execute(ANCESTORS, [[animal.pk], ancestor.pk])
        return cursor.fetchone() is not None


def youngest_parent_days(club):
    """The youngest age of a parent at the birth of its young: at mating by the club's setting, and on to kindling."""
    return max(club.breeding_age_days + club.earliest_kindling_days, YOUNGEST_PARENT_DAYS)


def check_parents(*, sire, dam, born_on, animal=None):
    """Raise a ValidationError by the field `sire` or `dam` unless both can be the parents of that birth."""
    errors = {}
    days = youngest_parent_days(Club.current())
    for role, parent in (("sire", sire), ("dam", dam)):
        if parent is not None and (said := _why_no_parent(role, parent, born_on, animal, days)):
            errors[role] = said
    if sire is not None and sire == dam:
        errors["sire"] = f"{sire} cannot be sire and dam at once. Choose another sire."
    if errors:
        raise ValidationError(errors)


def _why_no_parent(role, parent, born_on, animal, days):
    noun = {"sire": "buck", "dam": "doe"}[role]
    if parent.sex not in (ROLES[role], Sex.UNKNOWN):
        return f"{parent} is registered as a {parent.get_sex_display()} and cannot be the {role}. Choose a {noun}."
    if animal is not None and animal.pk is not None:
        if parent.pk == animal.pk:
            return f"{animal} cannot be its own {role}. Choose another {noun}."
        if descends_from(parent, animal):
            return f"{parent} descends from {animal}, so it cannot be its {role}. Choose another {noun}."
    if born_on and parent.born_on and (born_on - parent.born_on).days < days:
        return _too_young(role, parent, born_on, days)
    return ""


def _too_young(role, parent, born_on, days):
    born = f"{parent} was born on {day_words(parent.born_on)}"
    if born_on <= parent.born_on:
        return f"{born}, not before this birth. Check the birth date, or choose another {role}."
    age = age_words(parent.born_on, born_on)
    return (
        f"{born} and would have been {age} old at this birth; the club asks for at least {count_words(days, 'day')}. "
        f"Check the birth date, or choose another {role}."
    )


def check_progeny(*, animal, sex, born_on):
    """Raise unless the recorded progeny of the animal fit this sex and birth date."""
    young = Animal.objects.filter(Q(sire=animal) | Q(dam=animal))
    wrong_role = {Sex.DOE: Q(sire=animal), Sex.BUCK: Q(dam=animal)}.get(sex)
    if wrong_role is not None and (one := young.filter(wrong_role).first()):
        role = parent_word(Sex.BUCK if sex == Sex.DOE else Sex.DOE)
        said = f"{animal} is recorded as the {role} of {one}. Correct the {role} of its progeny first."
        raise ValidationError({"sex": said})
    if born_on is None:
        return
    soonest = born_on + timedelta(days=youngest_parent_days(Club.current()))
    if one := young.filter(born_on__lt=soonest).order_by("born_on").first():
        said = (
            f"{one} is recorded as progeny of {animal} and was born on {day_words(one.born_on)}, "
            "before or too soon after this day. Check the birth date."
        )
        raise ValidationError({"born_on": said})
