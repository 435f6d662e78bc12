"""An animal goes from herd to herd: offered, then accepted, refused or withdrawn; the registrar may settle it."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.members.models import Club
from herds.models import Animal, HealthNote, Herd, Quarantine, Status, Transfer
from herds.words import day_words

from .animals import kept_rows
from .health import told_by_seller
from .withdrawals import ask_about_withdrawals, running_withdrawals

Outcome = Transfer.Outcome
AHEAD_DAYS = 60


def offer_animal(*, animal, to_herd, by, on=None, note="", hand_over_notes=False, health_notes=(), confirmed=""):
    """Offer an animal to another herd; when both herds are the member's own it moves at once.

    A withdrawal period that runs is asked about first, and its days are told to the new owner; of the health notes the
    new owner reads only those in `health_notes`.
    """
    on = on or timezone.localdate()
    if on > timezone.localdate() + timedelta(days=AHEAD_DAYS):
        raise ValidationError({"on": f"Offer an animal at most {AHEAD_DAYS} days ahead."})
    if animal.born_on and on < animal.born_on:
        raise ValidationError({"on": f"{animal} was born on {day_words(animal.born_on)}. Choose a later day."})
    with rules_explained():
        (row,) = kept_rows([animal], by)
        _check_offer(row, to_herd)
        ask_about_withdrawals([row], step=f"offer{to_herd.pk}", confirmed=confirmed)
        running = [days for _, *days in running_withdrawals([row])] or [(None, None)]
        transfer = Transfer.objects.create(
            animal=row, from_herd=row.herd, to_herd=to_herd, on=on, note=note, hand_over_notes=hand_over_notes,
            offered_by=by, withdrawal_until=running[0][0], no_show_until=running[0][1],
        )  # fmt: skip
        own = HealthNote.objects.standing().filter(animal=row, herd=row.herd_id)
        transfer.health_notes.set(own.filter(pk__in=[each.pk for each in health_notes]))
        if Herd.objects.kept_by(by).filter(pk=to_herd.pk).exists():
            accept_transfer(transfer=transfer, by=by, quarantine=False)
    return transfer


def accept_transfer(*, transfer, by, quarantine=True):
    """The animal stands in the new herd from today (or the day of the transfer, if earlier), in quarantine."""
    today = timezone.localdate()
    with rules_explained():
        row = _open_row(transfer)
        _check_side(row, row.to_herd, by, "accept")
        animal = Animal.objects.select_for_update(of=("self",)).get(pk=row.animal_id)
        if animal.herd_id != row.from_herd_id:
            raise ValidationError(f"{animal} no longer stands in {row.from_herd}. Ask the registrar.")
        day = min(row.on, today)
        row.on = day
        if not row.hand_over_notes:
            row.notes_kept, animal.notes = animal.notes, ""
        animal.herd, animal.status, animal.status_on, animal.status_note = row.to_herd, Status.HERE, day, ""
        animal.offered_to_club = False
        animal.save_version(None, ["herd", "status", "status_on", "status_note", "offered_to_club", "notes"])
        for old in Quarantine.objects.filter(animal=animal, ended_on__isnull=True):
            old.ended_on = max(old.started_on, day)
            old.save(update_fields=["ended_on"])
        _settle(row, Outcome.ACCEPTED, by, ["on", "notes_kept"])
        told_by_seller(transfer=row, animal=animal, by=by, on=day)
        if quarantine:
            Quarantine.objects.create(
                animal=animal,
                herd=row.to_herd,
                started_on=day,
                planned_until=day + timedelta(days=Club.current().quarantine_days),
                reason=f"new from {row.from_herd}"[:200],
                logged_by=by,
            )
    transfer.refresh_from_db()
    return transfer


def refuse_transfer(*, transfer, by):
    """The new owner does not take the animal; it stays where it is."""
    return _close(transfer, Outcome.REFUSED, by, "refuse")


def withdraw_transfer(*, transfer, by):
    """Whoever offered the animal takes the offer back."""
    return _close(transfer, Outcome.WITHDRAWN, by, "withdraw")


def _close(transfer, outcome, by, verb):
    with rules_explained():
        row = _open_row(transfer)
        _check_side(row, row.from_herd if outcome == Outcome.WITHDRAWN else row.to_herd, by, verb)
        _settle(row, outcome, by)
    transfer.refresh_from_db()
    return transfer


def _open_row(transfer):
    """The transfer, locked; refused when somebody settled it meanwhile."""
    rows = Transfer.objects.select_for_update(of=("self",)).select_related("animal", "from_herd", "to_herd")
    row = rows.get(pk=transfer.pk)
    if row.outcome != Outcome.OPEN:
        said = f"The transfer of {row.animal} was already {row.get_outcome_display()} on {day_words(_day(row))}."
        raise ValidationError(f"{said} Nothing was changed.")
    return row


def _day(row):
    return timezone.localdate(row.settled_at)


def _check_side(row, herd, by, verb):
    if by.is_registrar or Herd.objects.kept_by(by).filter(pk=herd.pk).exists():
        return
    raise ValidationError(f"Only the owners of {herd} and the registrar {verb} this transfer.")


def _check_offer(animal, to_herd):
    if not animal.is_here:
        said = f"{animal} is recorded as “{animal.get_status_display()}”. Change that first."
        raise ValidationError(said)
    if to_herd.pk == animal.herd_id:
        raise ValidationError({"to_herd": f"{animal} is already in {to_herd}. Choose another herd."})
    if to_herd.closed_on:
        raise ValidationError({"to_herd": f"{to_herd} is closed. Choose another herd."})
    if animal.transfers.filter(outcome=Outcome.OPEN).exists():
        raise ValidationError(f"{animal} already waits for a new owner's answer. Withdraw that offer first.")


def _settle(row, outcome, by, fields=()):
    row.outcome, row.settled_by, row.settled_at = outcome, by, timezone.now()
    row.save(update_fields=["outcome", "settled_by", "settled_at", *fields])
