"""The levels of a run's fixed effects as a breeder says them; grading/running/reading.py makes their keys."""

from clubsite.members.models import Member
from grading.models import CoatStage, Mode
from grading.running.reading import OLDEST_QUARTER

EFFECT_WORDS = {
    "grader and year": "who graded, and when",
    "mode": "in hand or from photos",
    "age": "the age at the look",
    "coat stage": "the coat",
    "half-year": "the half of the year",
}
COAT_WORDS = {
    CoatStage.NEST: "nest coat",
    CoatStage.JUVENILE_MOLT: "juvenile molt",
    CoatStage.INTERMEDIATE: "intermediate coat",
    CoatStage.ADULT_MOLT: "adult molt",
    CoatStage.PRIME: "prime coat",
    CoatStage.PAST_PRIME: "coat past prime",
}
HALF_WORDS = {"1": "January to June", "2": "July to December"}


def graders_of(table):
    """The member keys that the levels of 'grader and year' speak of, the unknown grader left out."""
    keys = {int(key.partition(":")[0]) for key in table}
    return keys - {-1}


def grader_names(member, keys):
    """{member key: name} of the graders that a member may read of: officers all, others themselves. At most one query.

    Who leans which way is nobody's business but the grader's own and the officers', who train them.
    """
    if member.is_officer:
        found = Member.objects.filter(pk__in=keys)
        return {each.pk: str(each) for each in found}
    return {member.pk: str(member)} if member.pk in keys else {}


def level_words(effect, key, names):
    """A level of a fixed effect: 'a grader in 2025', 'prime coat', '6 to 9 months old', 'July to December 2025'.

    names : {member key: name} as grader_names gives it; whoever is not in it reads 'a grader'. A key or an effect that
    is not known is said as it stands, so that an old run can always be read.
    """
    key = str(key)
    said = WORDS.get(effect)
    return said(key, names) if said else key


def _grader_and_year(key, names):
    who, _, year = key.partition(":")
    if who == "-1":
        return f"an unknown grader in {year}"
    name = names.get(int(who), "a grader") if who.isdigit() else who
    return f"{name} in {year}" if year else name


def _mode(key, _names):
    return str(Mode(key).label) if key in Mode.values else key


def _age(key, _names):
    if not key.lstrip("-").isdigit():
        return key
    quarter = int(key)
    if quarter < 0:
        return "age not known"
    if quarter >= OLDEST_QUARTER:
        return f"{OLDEST_QUARTER // 4} years old and more"
    if quarter < 8:
        return f"{3 * quarter} to {3 * quarter + 3} months old"
    years, part = divmod(quarter, 4)
    return f"{years} years old, {('first', 'second', 'third', 'last')[part]} quarter"


def _coat(key, _names):
    return COAT_WORDS.get(key, key) if key else "coat stage not noted"


def _half(key, _names):
    year, _, half = key.partition(":")
    return f"{HALF_WORDS[half]} {year}" if half in HALF_WORDS else key


WORDS = {"grader and year": _grader_and_year, "mode": _mode, "age": _age, "coat stage": _coat, "half-year": _half}
