"""Writes of the mating log: each one transaction, keyword-only, refused with sentences that name the animal."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.members.models import Club
from herds.models import Litter, Mating, MatingEvent, Sex, Status
from herds.relations import close_relation, with_grandparents
from herds.words import age_words, day_words

from .animals import kept_rows
from .cautions import Caution, ask_first

GONE = (Status.DIED, Status.PUT_DOWN, Status.TABLE)
# A doe put to the buck again within so many days counts as one service, not as a second.
SAME_SERVICE_DAYS = 3

CLOSE_WORDS = (
    "Close matings can bring hidden faults to light, and usually cost vigour and litter size. Think it over, "
    "keep the young under a sharp eye, and ask the club what its rules say."
)


def record_mating(*, doe, buck, mated_on, by, until=None, note="", confirmed=""):
    """Log that the doe was put to the buck. Raises ValidationError by field, or NotYetConfirmed with cautions."""
    with rules_explained():
        kept_rows([doe], by)
        club = Club.current()
        _refuse_wrong_pair(doe, buck)
        refuse_impossible_days(mated_on, until)
        for animal, field in ((doe, "doe"), (buck, "buck")):
            _refuse_unfit(animal, field, mated_on, club)
        if Mating.objects.filter(doe=doe, buck=buck, mated_on=mated_on).exists():
            said = f"{doe} to {buck} on {day_words(mated_on)} is already in the log. Nothing was added."
            raise ValidationError({"mated_on": said})
        ask_first(mating_cautions(doe, buck, mated_on, club), about=[doe.pk, buck.pk], confirmed=confirmed)
        return Mating.objects.create(
            herd=doe.herd, doe=doe, buck=buck, mated_on=mated_on, until=until, note=note, logged_by=by
        )


def update_mating(*, mating, mated_on, until, note, by, version):
    """Correct the days and the note of a mating; StalePage when it was changed meanwhile."""
    refuse_impossible_days(mated_on, until)
    for animal in (mating.doe, mating.buck):
        _refuse_unfit(animal, "mated_on", mated_on, Club.current())
    first = mating.events.order_by("on").first()
    if first and first.on < mated_on:
        raise ValidationError(
            {"mated_on": f"{mating.doe} was {first.get_kind_display()} on {day_words(first.on)}, before this day."}
        )
    if mating.ended_on and mating.ended_on < mated_on:
        raise ValidationError(
            {"mated_on": f"This mating was given up on {day_words(mating.ended_on)}, before this day."}
        )
    mating.mated_on, mating.until, mating.note = mated_on, until, note
    if litter := mating.litters.first():
        try:
            refuse_outside_kindling_days(mating, litter.born_on, litter.born_alive)
        except ValidationError as error:
            raise ValidationError({"mated_on": error.message_dict["born_on"]}) from error
    with rules_explained():
        mating.save_version(version, ["mated_on", "until", "note"])
    return mating


@transaction.atomic
def remove_mating(*, mating, by):
    """Take a mating out that was logged by mistake. It goes for good, so one with a litter stays."""
    if mating.litters.exists():
        raise ValidationError(f"{mating.doe} has a litter from this mating, so it stays in the log.")
    mating.delete()


def record_mating_event(*, mating, kind, by, on=None, result="", note=""):
    """Log a palpation or the nest box; the day must lie after the mating."""
    on = on or timezone.localdate()
    refuse_future(on, "on")
    if on < mating.mated_on:
        raise ValidationError({"on": f"{mating.doe} was mated on {day_words(mating.mated_on)}. Choose a later day."})
    if kind == MatingEvent.Kind.PALPATION and not result:
        raise ValidationError({"result": f"Say what was felt when {mating.doe} was palpated."})
    if mating.events.filter(kind=kind, on=on).exists():
        raise ValidationError({"on": f"This is already logged for {mating.doe} on {day_words(on)}."})
    with rules_explained():
        return MatingEvent.objects.create(mating=mating, kind=kind, on=on, result=result, note=note, logged_by=by)


def end_mating(*, mating, by, on=None):
    """Give a mating up: no litter came of it."""
    on = on or timezone.localdate()
    refuse_future(on, "on")
    if on < mating.mated_on:
        raise ValidationError({"on": f"{mating.doe} was mated on {day_words(mating.mated_on)}. Choose a later day."})
    if mating.litters.exists():
        raise ValidationError(f"{mating.doe} has a litter from this mating, so it cannot be given up.")
    mating.ended_on = on
    mating.save_version(None, ["ended_on"])
    return mating


def reopen_mating(*, mating, by):
    """Take 'given up' back."""
    mating.ended_on = None
    mating.save_version(None, ["ended_on"])
    return mating


def mating_cautions(doe, buck, mated_on, club):
    """What the log has to say against this mating; the person may go on."""
    family = with_grandparents(doe.pk, buck.pk)
    cautions = []
    if relation := close_relation(family[doe.pk], family[buck.pk]):
        cautions.append(Caution("close", f"{relation} {CLOSE_WORDS}"))
    if open_one := mating_in_progress(doe, mated_on, club):
        days = (mated_on - open_one.mated_on).days
        if days > SAME_SERVICE_DAYS:
            cautions.append(
                Caution(
                    "in-kindle",
                    f"{doe} was put to {open_one.buck} on {day_words(open_one.mated_on)}, {days} days before, and may "
                    "be in kindle. Palpate her first; a doe in kindle is best left in peace.",
                )
            )
        elif open_one.buck_id != buck.pk:
            cautions.append(
                Caution(
                    "two-bucks",
                    f"{doe} was put to {open_one.buck} on {day_words(open_one.mated_on)}. After two bucks within a few "
                    "days nobody can tell which of them sired a kit.",
                )
            )
    before = timedelta(days=club.rebreed_from_days)
    last = Litter.objects.filter(dam=doe, born_on__lte=mated_on, born_on__gt=mated_on - before).first()
    if last:
        cautions.append(
            Caution(
                "early-rebreeding",
                f"{doe} kindled on {day_words(last.born_on)}, {(mated_on - last.born_on).days} days before. "
                f"Usual is to wait {club.rebreed_from_days} to {club.rebreed_to_days} days, so that she can recover.",
            )
        )
    return cautions


def mating_in_progress(doe, on, club):
    """The latest mating of the doe that may still end in a litter on that day, or None."""
    kindled = Litter.objects.filter(dam=doe, born_on__gte=OuterRef("mated_on"))
    possible = Mating.objects.filter(
        ~Exists(kindled), doe=doe, herd=doe.herd, mated_on__lte=on, ended_on__isnull=True
    ).filter(mated_on__gte=on - timedelta(days=club.latest_kindling_days))
    for mating in possible.select_related("buck").prefetch_related("events"):
        felt = [event.result for event in mating.events.all() if event.kind == MatingEvent.Kind.PALPATION]
        if not felt or felt[-1] != MatingEvent.Result.EMPTY:
            return mating
    return None


def kindling_days(mating, born_on):
    """(fewest, most) days that may lie between this mating and that kindling, for a pair left together for a while."""
    return max(0, (born_on - mating.last_day).days), (born_on - mating.mated_on).days


def refuse_outside_kindling_days(mating, born_on, born_alive):
    """Live kits come 28 to 35 days after a mating (the club's settings; breeders' pages); else a sentence.

    A litter of dead kits only may come at any day after the mating: a doe can lose it early, and carry it late.
    """
    club = Club.current()
    fewest, most = kindling_days(mating, born_on)
    pair = f"{mating.doe} to {mating.buck} on {day_words(mating.mated_on)}"
    if most < 0:
        raise ValidationError({"born_on": f"This day lies before the mating of {pair}. Choose a later day."})
    earliest, latest = club.earliest_kindling_days, club.latest_kindling_days
    if born_alive and (most < earliest or fewest > latest):
        days = most if most < earliest else fewest
        raise ValidationError(
            {
                "born_on": f"{day_words(born_on)} is day {days} after the mating of {pair}. A live litter comes from "
                f"day {earliest} to day {latest}. Check the day, or log the litter without this mating."
            }
        )


def refuse_future(day, field):
    if day > timezone.localdate():
        raise ValidationError({field: f"{day_words(day)} lies in the future. Choose today or an earlier day."})


def refuse_impossible_days(mated_on, until):
    refuse_future(mated_on, "mated_on")
    if until is None:
        return
    if until < mated_on:
        said = f"They came together on {day_words(mated_on)} and cannot be parted before it. Choose a later day."
        raise ValidationError({"until": said})
    if until > timezone.localdate():
        raise ValidationError(
            {"until": f"{day_words(until)} lies in the future. Leave it empty until they are parted."}
        )


def _refuse_wrong_pair(doe, buck):
    if doe.pk == buck.pk:
        raise ValidationError({"buck": "Doe and buck are the same animal. Choose another buck."})
    if doe.sex != Sex.DOE:
        raise ValidationError({"doe": f"{doe} is not registered as a doe. Choose a doe, or correct the sex first."})
    if buck.sex != Sex.BUCK:
        raise ValidationError({"buck": f"{buck} is not registered as a buck. Choose a buck, or correct the sex first."})


def _refuse_unfit(animal, field, on, club):
    """Too young, not yet born, or no longer alive on that day."""
    if animal.born_on and animal.born_on > on:
        raise ValidationError({field: f"{animal} was born on {day_words(animal.born_on)}, after this mating."})
    age = animal.age_days(on)
    if age is not None and age < club.breeding_age_days:
        raise ValidationError(
            {
                field: f"{animal} was {age_words(animal.born_on, on)} old ({age} days) on {day_words(on)}. "
                f"The club's youngest age at mating is {club.breeding_age_days} days. Choose another, or wait."
            }
        )
    if animal.status in GONE and animal.status_on and animal.status_on < on:
        gone = f"{animal} {animal.get_status_display()} on {day_words(animal.status_on)}"
        raise ValidationError({field: f"{gone}. Check the animal and the day."})
