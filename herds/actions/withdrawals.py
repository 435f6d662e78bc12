"""What is said before an animal leaves while a withdrawal period runs. The keeper reads it, and may go on."""

from django.db.models import Q
from django.utils import timezone

from herds.models import HealthNote
from herds.words import day_words

from .cautions import Caution, ask_first

ASK_THE_VET = "Ask your vet; the law where you live decides."


def running_withdrawals(animals, on=None):
    """(animal, not for the table until, not for showing until) of those for which a period still runs.

    A note about the litter that an animal was born in counts too; notes of an earlier owner do not.
    """
    on = on or timezone.localdate()
    litters = [animal.litter_id for animal in animals if animal.litter_id]
    about = Q(animal__in=[animal.pk for animal in animals]) | Q(litter__in=litters)
    notes = list(HealthNote.objects.withdrawing(on).filter(about))
    found = []
    for animal in animals:
        own = [note for note in notes if note.herd_id == animal.herd_id and _is_about(note, animal)]
        if own:
            found.append((animal, *(_last([getattr(note, name) for note in own], on) for name in UNTIL)))
    return found


UNTIL = ("withdrawal_until", "no_show_until")


def _is_about(note, animal):
    return note.animal_id == animal.pk or (note.litter_id is not None and note.litter_id == animal.litter_id)


def _last(days, on):
    return max((day for day in days if day is not None and day >= on), default=None)


def withdrawal_words(table, show):
    """'not for the table until 3 May 2026, not for showing until 9 May 2026', or '' when neither day is given."""
    words = [(table, "not for the table until"), (show, "not for showing until")]
    return ", ".join(f"{what} {day_words(day)}" for day, what in words if day)


def ask_about_withdrawals(animals, *, step, confirmed, on=None):
    """Raise NotYetConfirmed with a sentence for each animal whose withdrawal period runs."""
    found = running_withdrawals(animals, on)
    cautions = [
        Caution(
            f"withdrawal{animal.pk}-{table or ''}-{show or ''}",
            f"A withdrawal period of {animal} still runs: {withdrawal_words(table, show)}. {ASK_THE_VET}",
        )
        for animal, table, show in found
    ]
    ask_first(cautions, about=[step], confirmed=confirmed)
