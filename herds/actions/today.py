"""Writes of the today list: a line's answer becomes an event of the log, and may be taken back the same day."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from herds.calendar.sources import source_of
from herds.models import Dismissal, HealthNote, Litter, LitterEvent, Mating, MatingEvent, Quarantine

from .health import look_again, take_look_back
from .litters import record_litter_event
from .matings import end_mating, record_mating_event, reopen_mating
from .quarantine import end_quarantine

MATING_EVENTS = {"palpate": MatingEvent.Kind.PALPATION, "nest_box": MatingEvent.Kind.NEST_BOX}
LITTER_EVENTS = {
    "first_check": LitterEvent.Kind.NEST_CHECK,
    "nest_box_out": LitterEvent.Kind.NEST_BOX_OUT,
    "wean": LitterEvent.Kind.WEANED,
}
GIVING_UP = ("empty", "no_litter")
HEALTH = ("follow_up", "withdrawal", "no_show")
OTHER = {"kindling": Mating, "weigh": Litter, "rebreed": Litter}
MODELS = (
    dict.fromkeys([*MATING_EVENTS, *GIVING_UP], Mating)
    | dict.fromkeys(LITTER_EVENTS, Litter)
    | {"quarantine": Quarantine}
    | dict.fromkeys(HEALTH, HealthNote)
    | OTHER
)


class NoSuchLine(LookupError):
    """The key names nothing that the member keeps."""


def subject_of(key, member):
    """(kind, row, its herd) of a line's key, among what the member keeps; else NoSuchLine."""
    kind, *numbers = key.split("-")
    if source := source_of(kind):
        herd = source.herd_of(key, member)
        if herd is None:
            raise NoSuchLine(key)
        return kind, None, herd
    model = MODELS.get(kind)
    if model is None or not numbers or not all(number.isdecimal() and len(number) < 19 for number in numbers):
        raise NoSuchLine(key)
    found = model.objects.editable_by(member).filter(pk=numbers[0]).first()
    if found is None:
        raise NoSuchLine(key)
    return kind, found, found.animal.herd if kind == "quarantine" else found.herd


@transaction.atomic
def answer_line(*, key, answer, by):
    """Log today what the button of a line says."""
    kind, subject, _ = subject_of(key, by)
    if kind in MATING_EVENTS:
        record_mating_event(mating=subject, kind=MATING_EVENTS[kind], result=_felt(kind, answer), by=by)
    elif kind in LITTER_EVENTS:
        record_litter_event(litter=subject, kind=LITTER_EVENTS[kind], by=by)
    elif kind in GIVING_UP:
        end_mating(mating=subject, by=by)
    elif kind == "quarantine":
        end_quarantine(quarantine=subject, by=by)
    elif kind == "follow_up":
        look_again(note=subject, by=by)
    else:
        raise ValidationError("This line is answered on its own page.")


@transaction.atomic
def undo_line(*, key, by):
    """Take back what a line's button logged today; True when there was something to take back."""
    kind, subject, _ = subject_of(key, by)
    if kind in MATING_EVENTS or kind in LITTER_EVENTS:
        event_kind = (MATING_EVENTS | LITTER_EVENTS)[kind]
        event = subject.events.filter(kind=event_kind, on=timezone.localdate()).last()
        return bool(event and event.delete())
    if kind in GIVING_UP and subject.ended_on == timezone.localdate():
        return bool(reopen_mating(mating=subject, by=by))
    if kind == "follow_up":
        return take_look_back(note=subject, by=by)
    if kind == "quarantine" and subject.ended_on == timezone.localdate():
        return bool(Quarantine.objects.filter(pk=subject.pk).update(ended_on=None))
    return False


def dismiss_line(*, key, by):
    """Put a line aside; sending it twice does it once."""
    _, _, herd = subject_of(key, by)
    return Dismissal.objects.get_or_create(herd=herd, key=key, defaults={"by": by})[0]


def restore_line(*, key, by):
    """Take a line back that was put aside."""
    _, _, herd = subject_of(key, by)
    Dismissal.objects.filter(herd=herd, key=key).delete()


def _felt(kind, answer):
    if kind != "palpate":
        return ""
    if answer not in (MatingEvent.Result.IN_KINDLE, MatingEvent.Result.EMPTY, MatingEvent.Result.UNSURE):
        raise ValidationError("Say what was felt: in kindle, empty, or not sure.")
    return answer
