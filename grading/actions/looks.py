"""Writing looks: begin, answer, find, finish, supersede. Nothing of a look changes after the day it was made."""

from datetime import datetime, time, timedelta

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.db.models import Exists, OuterRef
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.history import because
from grading.ages import age_class_of
from grading.models import Answer, BreedProfile, Look, LookFinding, Mode, ProfileFinding, Role
from herds.models import Herd, Weight
from herds.words import day_words

OLDEST_PAPER_DAYS = 60
EVENING_HOURS = 4


def start_look(*, animal, mode, light, by, role="", observed_on=None, supersedes=None, reason="", now=None):
    """Begin a look; an older one of the member's that was left open is closed first. Raises ValidationError."""
    now = now or timezone.now()
    today = timezone.localdate(now)
    day = observed_on or today
    _refuse_day(animal, day, today, mode)
    profile = BreedProfile.in_force(animal.breed_id, day)
    if profile is None:
        raise ValidationError(
            f"The club has no breed profile for {animal.breed} on {day_words(day)}. Ask an officer to publish one.",
            code="no_profile",
        )
    with rules_explained():
        close_left_open(by=by, now=now)
        return Look.objects.create(
            animal=animal,
            observer=by,
            herd_id=animal.herd_id,
            profile=profile,
            observed_on=day,
            mode=mode,
            role=role or role_of(by, animal),
            trained=by.is_grader(day),
            light=light,
            age_days=animal.age_days(day),
            age_class=age_class_of(animal, profile, day),
            silvering_complete=_was_complete(animal, day),
            started_at=now,
            editable_until=end_of_day(now),
            supersedes=supersedes,
            reason=reason,
        )


def supersede_look(*, look, reason, by, now=None, **given):
    """Begin a look that takes the place of the member's own earlier one once it is finished; copies nothing."""
    now = now or timezone.now()
    _refuse_others(look, by)
    if look.editable_until > now:
        raise ValidationError("This look can still be changed today. Change it instead.", code="still_open")
    if not reason.strip():
        raise ValidationError({"reason": "Say why this look supersedes the earlier one."})
    with rules_explained():
        close_left_open(by=by, now=now)
        return start_look(animal=look.animal, by=by, supersedes=look, reason=reason.strip(), now=now, **given)


SAVE_ANSWERS = """
    INSERT INTO grading_answer (look_id, trait_id, site, step, cannot_tell, saved_at)
    VALUES {rows}
    ON CONFLICT (look_id, trait_id, site) DO {otherwise}
    RETURNING trait_id, site
"""
REPLACE_OLDER = """
    UPDATE SET step = EXCLUDED.step, cannot_tell = EXCLUDED.cannot_tell, saved_at = EXCLUDED.saved_at
    WHERE grading_answer.saved_at <= EXCLUDED.saved_at
"""


def save_answers(*, look, answers, by, given_at=None, only_missing=False):
    """Save (trait, site, step or None for 'cannot tell') answers; the one given last wins, however late it arrives.

    `given_at` is when the person chose. With `only_missing`, what is answered already stays. Returns how many were
    written. One statement, so that a retry or a second send changes nothing by halves.
    """
    _refuse_others(look, by)
    if not answers:
        return 0
    now = timezone.now()
    given_at = min(given_at, now) if given_at else now
    sql = SAVE_ANSWERS.format(
        rows=", ".join(["(%s, %s, %s, %s, %s, %s)"] * len(answers)),
        otherwise="NOTHING" if only_missing else REPLACE_OLDER,
    )
    values = [v for trait, site, step in answers for v in (look.pk, trait.pk, site, step, step is None, given_at)]
    with rules_explained(), connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.rowcount


def save_finding(*, look, kind, state, by, places=()):
    """Save whether something was seen and where, and whether the look disqualifies by it."""
    _refuse_others(look, by)
    seen = state == LookFinding.State.SEEN
    unknown = [place for place in places if place not in kind.places]
    if state not in LookFinding.State.values or unknown:
        raise ValidationError("Choose seen, not seen or not checked, and one of the places shown.")
    place = ", ".join(each for each in kind.places if each in places) if seen else ""
    with rules_explained():
        LookFinding.objects.bulk_create(
            [LookFinding(look=look, kind=kind, state=state, place=place)],
            update_conflicts=True,
            unique_fields=["look", "kind"],
            update_fields=["state", "place"],
        )
        disqualifying = ProfileFinding.objects.filter(
            profile=OuterRef("profile"), effect=ProfileFinding.Effect.DISQUALIFIES, kind__in=_seen_in(look)
        )
        Look.objects.filter(pk=look.pk).update(disqualified=Exists(disqualifying))


def save_facts(*, look, by, **facts):
    """Save coat stage, silvering, weight or note, whichever are given."""
    _refuse_others(look, by)
    allowed = {"coat_stage", "silvering_complete", "grams", "note"}
    if unknown := set(facts) - allowed:
        raise TypeError(f"A look has no {unknown.pop()} to save here.")
    for name, value in facts.items():
        setattr(look, name, value)
    with rules_explained():
        look.save(update_fields=list(facts))
        if look.finished_at:
            _tell_herd(look, by)


def finish_look(*, look, by, now=None):
    """Finish a look as it stands; finishing twice changes nothing."""
    _refuse_others(look, by)
    with rules_explained():
        row = Look.objects.select_for_update(of=("self",)).select_related("animal").get(pk=look.pk)
        if row.finished_at is None:
            _close(row, now or timezone.now(), by)
        return row


def remove_look(*, look, by):
    """Take back a look that was begun by mistake: only while it is unfinished and its day is not over."""
    _refuse_others(look, by)
    if look.finished_at:
        raise ValidationError("A finished look stays. Make a new look that supersedes it when it was wrong.")
    with rules_explained():
        look.delete()


def close_left_open(*, by, now=None):
    """Close the member's looks that were never finished and whose day is over; those without an answer go."""
    now = now or timezone.now()
    left = Look.objects.filter(observer=by, finished_at__isnull=True, editable_until__lte=now)
    answered = (
        Exists(Answer.objects.filter(look=OuterRef("pk"))),
        Exists(LookFinding.objects.filter(look=OuterRef("pk"))),
    )
    with rules_explained():
        for look in left.select_related("animal").annotate(answered=answered[0], found=answered[1]):
            if look.answered or look.found:
                _close(look, look.editable_until, by)
            else:
                look.delete()


def end_of_day(now):
    """Until when a look begun now can be changed: midnight, or four hours on for a look begun in the evening."""
    tomorrow = timezone.localdate(now) + timedelta(days=1)
    midnight = timezone.make_aware(datetime.combine(tomorrow, time.min))
    return max(midnight, now + timedelta(hours=EVENING_HOURS))


def role_of(member, animal):
    """Keeper in one's own herd, mentor in another's."""
    return Role.KEEPER if _keeps(member, animal) else Role.MENTOR


def _close(look, at, by):
    look.finished_at, look.current = at, True
    look.save(update_fields=["finished_at", "current"])
    if look.supersedes_id:
        with because(look.reason):
            Look.objects.filter(pk=look.supersedes_id).update(current=False)
    _tell_herd(look, by)


def _tell_herd(look, by):
    """The keeper's own look also tells the herd's log when silvering was first seen complete, and the weight."""
    animal = look.animal
    complete_is_news = look.silvering_complete and (
        animal.silver_complete_on is None or animal.silver_complete_on > look.observed_on
    )
    if not (complete_is_news or look.grams) or not _keeps(by, animal):
        return
    if complete_is_news:
        animal.silver_complete_on = look.observed_on
        animal.save_version(None, ["silver_complete_on"])
    if look.grams:
        weight, is_new = Weight.objects.get_or_create(
            animal=animal,
            on=look.observed_on,
            defaults={"herd_id": animal.herd_id, "grams": look.grams, "logged_by": by},
        )
        if not is_new and weight.logged_by_id == by.pk and weight.grams != look.grams:
            weight.grams = look.grams
            weight.save(update_fields=["grams"])


def _keeps(member, animal):
    return animal.herd_id is not None and Herd.objects.kept_by(member).filter(pk=animal.herd_id).exists()


def _seen_in(look):
    return LookFinding.objects.filter(look=look, state=LookFinding.State.SEEN).values("kind")


def _was_complete(animal, day):
    """True when silvering was seen complete by that day; None (not told yet) otherwise."""
    return True if animal.silver_complete_on and animal.silver_complete_on <= day else None


def _refuse_day(animal, day, today, mode):
    if day > today:
        raise ValidationError({"observed_on": "This day lies in the future. Choose today or an earlier day."})
    if animal.born_on and day < animal.born_on:
        born = day_words(animal.born_on)
        raise ValidationError({"observed_on": f"{animal} was born on {born}, after that day. Check the date."})
    if mode != Mode.PHOTO and day < today - timedelta(days=OLDEST_PAPER_DAYS):
        raise ValidationError(
            {"observed_on": f"A look on paper can be entered for {OLDEST_PAPER_DAYS} days. Choose a later day."}
        )


def _refuse_others(look, by):
    if look.observer_id != by.pk:
        raise PermissionDenied(f"Only {look.observer} may change this look.")
