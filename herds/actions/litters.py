"""Writes of kindlings and what is done with a litter: counts are kept in step with the kit rows."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.members.models import Club
from herds.models import Kit, Litter, LitterEvent, Mating, Sex
from herds.models.animal import YOUNGEST_PARENT_DAYS
from herds.words import age_words, count_words, day_words, listed

from .animals import kept_rows
from .cautions import Caution, ask_first
from .matings import kindling_days, refuse_future, refuse_outside_kindling_days

# Merck Veterinary Manual, Breeding and Reproduction of Rabbits: kits born after day 34 are almost always dead.
LATE_BIRTH_DAYS = 34
ONCE = (LitterEvent.Kind.NEST_BOX_OUT, LitterEvent.Kind.WEANED)


def record_litter(*, dam, born_on, born_alive, by, sire=None, born_dead=0, mating=None, note=""):
    """Log a kindling, and make a kit row for every live kit. Raises ValidationError by field.

    Without a mating, the one that fits the doe and the day is taken from the log, unless its buck is not `sire`.
    """
    with rules_explained():
        kept_rows([mating.doe if mating else dam], by)
        refuse_future(born_on, "born_on")
        mating = mating or fitting_mating(dam, sire, born_on)
        if mating is not None:
            if mating.litters.exists():
                raise ValidationError({"born_on": f"The mating {mating} already has its litter."})
            dam, sire = mating.doe, mating.buck
            refuse_outside_kindling_days(mating, born_on, born_alive)
        _refuse_wrong_parents(dam, sire, born_on)
        _refuse_two_litters_too_near(dam, born_on)
        refuse_impossible_counts(born_alive, born_dead)
        litter = Litter.objects.create(
            herd=dam.herd, mating=mating, dam=dam, sire=sire, born_on=born_on,
            born_alive=born_alive, born_dead=born_dead, note=note, logged_by=by,
        )  # fmt: skip
        Kit.objects.bulk_create([Kit(litter=litter, number=number) for number in range(1, born_alive + 1)])
    return litter


def fitting_mating(dam, sire, born_on):
    """The doe's mating from which this litter may have come, if the log knows exactly one and `sire` agrees."""
    club = Club.current()
    first = born_on - timedelta(days=club.latest_kindling_days)
    last = born_on - timedelta(days=club.earliest_kindling_days)
    may_be = Mating.objects.filter(
        doe=dam, herd=dam.herd, litters__isnull=True, ended_on__isnull=True, mated_on__lte=last
    )
    fits = [
        mating
        for mating in may_be.select_related("doe", "buck").order_by("-mated_on")[:10]
        if mating.last_day >= first and sire in (None, mating.buck)
    ]
    return fits[0] if len({mating.buck_id for mating in fits}) == 1 else None


def update_litter(*, litter, born_on, born_alive, born_dead, note, by, version):
    """Correct a kindling; kit rows are added or taken away at the end of the list to fit the new count."""
    refuse_future(born_on, "born_on")
    if litter.mating:
        refuse_outside_kindling_days(litter.mating, born_on, born_alive)
    _refuse_wrong_parents(litter.dam, litter.sire, born_on)
    _refuse_two_litters_too_near(litter.dam, born_on, but=litter)
    refuse_impossible_counts(born_alive, born_dead)
    if born_on != litter.born_on:
        _refuse_moving_birth(litter, born_on)
    litter.born_on, litter.born_alive, litter.born_dead, litter.note = born_on, born_alive, born_dead, note
    with rules_explained():
        litter.save_version(version, ["born_on", "born_alive", "born_dead", "note"])
        _fit_kit_rows(litter)
    return litter


@transaction.atomic
def remove_litter(*, litter, by):
    """Take out a litter logged by mistake, its kit rows with it; one whose kits are marked or moved stays."""
    if litter.kits.filter(animal__isnull=False).exists():
        raise ValidationError(f"Kits of the {litter} are marked already, so it stays in the log.")
    if litter.fostered_in.exists() or litter.kits.filter(fostered_to__isnull=False).exists():
        raise ValidationError(f"Kits were fostered from or to the {litter}. Bring them back first.")
    litter.delete()


def record_litter_event(*, litter, kind, by, on=None, alive=None, dead=None, note="", lost=(), confirmed=""):
    """Log a nest check, the nest box taken out or the weaning. `lost` are the kits found dead, if they can be told.

    When only a number was found dead, the last kits of the list about which nothing is recorded are the ones.
    """
    on = on or timezone.localdate()
    with rules_explained():
        Litter.objects.select_for_update().get(pk=litter.pk)  # two presses at once wait for each other
        refuse_future(on, "on")
        if on < litter.born_on:
            raise ValidationError({"on": f"The {litter} was not yet born on {day_words(on)}. Choose a later day."})
        _refuse_event_out_of_turn(litter, kind, on)
        lost, dead, alive = _counted(litter, list(lost), dead, alive)
        if kind == LitterEvent.Kind.WEANED:
            ask_first(weaning_cautions(litter, on), about=[litter.pk], confirmed=confirmed)
        event = LitterEvent.objects.create(
            litter=litter, kind=kind, on=on, alive=alive, dead=dead, note=note, logged_by=by
        )
        for kit in lost:
            kit.died_on = on
            kit.save_version(None, ["died_on"])
    return event


def _counted(litter, lost, dead, alive):
    """(kits that died, how many, how many are left): what was counted, made to agree with the kits of the nest."""
    living = kits_in_nest(litter)
    dead = len(lost) if dead is None and lost else dead
    if dead is not None and len(lost) > dead:
        said = f"{count_words(len(lost), 'kit')} chosen as dead, but {dead} counted. Check both."
        raise ValidationError({"dead": said})
    lost = lost + _untold(litter, living, lost, (dead or 0) - len(lost))
    left = len(living) - len(lost)
    if alive is not None and living and alive != left:
        said = (
            f"The log has {count_words(len(living), 'live kit')} in this nest. {count_words(len(lost), 'dead kit')} "
            f"would leave {left}, not {alive}. Check both numbers."
        )
        raise ValidationError({"alive": said})
    return lost, dead, left if alive is None else alive


def weaning_cautions(litter, on):
    """Early weaning costs kits; the club's day says what is early."""
    club = Club.current()
    age = (on - litter.born_on).days
    if age >= club.wean_from_days:
        return []
    return [
        Caution(
            "early-weaning",
            f"The {litter} is {age} days old. Weaning from day {club.wean_from_days} is usual; kits taken off earlier "
            "easily fall ill. Go on if there is a reason, and ask a vet when the doe is sick or gone.",
        )
    ]


def kits_in_nest(litter):
    """The live kits that grow up in this litter's nest, fostered ones counted, own kits first."""
    own = litter.kits.filter(fostered_to__isnull=True, died_on__isnull=True)
    fostered = litter.fostered_in.filter(died_on__isnull=True)
    kits = [*own.select_related("litter", "animal"), *fostered.select_related("litter__dam", "animal")]
    return [kit for kit in kits if kit.animal is None or (kit.animal.is_here and kit.animal.herd_id == litter.herd_id)]


def refuse_impossible_counts(born_alive, born_dead):
    for number, field in ((born_alive, "born_alive"), (born_dead, "born_dead")):
        if not 0 <= number <= 25:
            raise ValidationError({field: f"{number} kits are not possible in one litter. Check the number."})
    if born_alive + born_dead < 1:
        raise ValidationError(
            {"born_alive": "A kindling has at least one kit, alive or dead. If there was none, give the mating up."}
        )
    if born_alive + born_dead > 25:
        raise ValidationError(
            {"born_dead": f"{born_alive + born_dead} kits are not possible in one litter. Check both numbers."}
        )


def late_birth_words(litter):
    """A sentence when the litter came after day 34; '' otherwise."""
    days = kindling_days(litter.mating, litter.born_on)[0] if litter.mating else 0
    if days <= LATE_BIRTH_DAYS:
        return ""
    return (
        f"Born on day {days}. Kits born after day {LATE_BIRTH_DAYS} are almost always dead. "
        "Look at the doe closely, and call a vet if she does not eat or seems to strain."
    )


def _refuse_wrong_parents(dam, sire, born_on):
    if dam.sex != Sex.DOE:
        raise ValidationError({"dam": f"{dam} is not registered as a doe. Choose a doe, or correct the sex first."})
    if sire is not None and sire.sex != Sex.BUCK:
        raise ValidationError({"sire": f"{sire} is not registered as a buck. Choose a buck, or correct the sex first."})
    for parent, field in ((dam, "dam"), (sire, "sire")):
        if parent is None or parent.born_on is None:
            continue
        if parent.born_on >= born_on:
            raise ValidationError({field: f"{parent} was born on {day_words(parent.born_on)}, not before this litter."})
        if parent.age_days(born_on) < YOUNGEST_PARENT_DAYS:
            raise ValidationError(
                {
                    field: f"{parent} was only {age_words(parent.born_on, born_on)} old on {day_words(born_on)}. "
                    "A parent is at least four months old at the birth. Check the day and the parents."
                }
            )


def _refuse_two_litters_too_near(dam, born_on, but=None):
    """One doe cannot kindle twice within the shortest time she carries."""
    gap = timedelta(days=Club.current().earliest_kindling_days)
    others = Litter.objects.filter(dam=dam, born_on__gt=born_on - gap, born_on__lt=born_on + gap)
    other = others.exclude(pk=but.pk if but else None).first()
    if other and other.born_on == born_on:
        raise ValidationError({"born_on": f"{dam} already has a litter on {day_words(born_on)}. Nothing was added."})
    if other:
        days = abs((born_on - other.born_on).days)
        raise ValidationError(
            {
                "born_on": f"{dam} has a litter of {day_words(other.born_on)}, only {count_words(days, 'day')} away. "
                f"A doe carries at least {gap.days} days. Check the day."
            }
        )


def _refuse_moving_birth(litter, born_on):
    if litter.kits.filter(animal__isnull=False).exists():
        raise ValidationError(
            {"born_on": f"Kits of the {litter} are marked. A registrar corrects the birth date on the animals' pages."}
        )
    first = litter.events.order_by("on").first()
    if first and first.on < born_on:
        raise ValidationError(
            {"born_on": f"The litter was {first.get_kind_display()} on {day_words(first.on)}, before this day."}
        )


def _refuse_event_out_of_turn(litter, kind, on):
    events = list(litter.events.all())
    word = dict(LitterEvent.Kind.choices)[kind]
    for event in events:
        if event.kind == kind and (kind in ONCE or event.on == on):
            raise ValidationError({"on": f"The {litter} has “{word}” in the log already, on {day_words(event.on)}."})
    weaned = next((event for event in events if event.kind == LitterEvent.Kind.WEANED), None)
    if weaned and on > weaned.on:
        raise ValidationError({"on": f"The {litter} was weaned on {day_words(weaned.on)}. Choose an earlier day."})


def _fit_kit_rows(litter):
    numbers = set(litter.kits.values_list("number", flat=True))
    missing = litter.born_alive - len(numbers)
    free = [number for number in range(1, 26) if number not in numbers]
    Kit.objects.bulk_create([Kit(litter=litter, number=number) for number in free[: max(0, missing)]])
    if missing < 0:
        spare = [kit for kit in litter.kits.order_by("-number") if _nothing_recorded(kit)][:-missing]
        if len(spare) < -missing:
            known = count_words(len(numbers) - len(spare), "kit")
            said = f"Something is recorded about {known} of this litter, so the count cannot go down to"
            raise ValidationError({"born_alive": f"{said} {litter.born_alive}. Log dead kits in a nest check instead."})
        Kit.objects.filter(pk__in=[kit.pk for kit in spare]).delete()


def _nothing_recorded(kit):
    plain = kit.sex == Sex.UNKNOWN and not kit.white_at and kit.animal_id is None
    return plain and kit.fostered_to_id is None and kit.died_on is None and not kit.note and not kit.weights.exists()


def _untold(litter, living, lost, number):
    """So many more kits of the nest that nothing tells apart, the last first; refused when there are not enough."""
    if number <= 0:
        return []
    chosen = {kit.pk for kit in lost}
    rest = [kit for kit in living if kit.pk not in chosen]
    if number > len(rest):
        raise ValidationError(
            {"dead": f"Only {count_words(len(rest), 'live kit')} left in this nest by the log. Check the number."}
        )
    own = [kit for kit in reversed(rest) if kit.litter_id == litter.pk and _nothing_recorded(kit)]
    if number == len(rest):
        return rest
    if number > len(own):
        names = listed([f"kit {kit.number}" for kit in rest])
        raise ValidationError({"dead": f"Something is recorded about these kits. Choose which died: {names}."})
    return own[:number]
