"""The forms of decisions, whereabouts, health notes, quarantine and transfers."""

from datetime import timedelta

from django import forms
from django.utils import timezone

from clubsite.members.models import Club
from herds.actions.animals import PLACES
from herds.actions.decisions import OFFERED
from herds.models import Decision, HealthNote, Herd
from herds.words import day_words

from .animals import DayField
from .herds import LastDayInput
from .record import RecordForm, day_field

USUAL_REASONS = ("surface shade", "undercolor", "type", "size", "temperament", "no room")
OFTEN = 6
LONGEST_REASON = 240


def reasons_at_hand(herds):
    """The reasons given most often of late, filled up with the usual ones: one tap instead of typing."""
    recent = Decision.objects.filter(herd__in=herds).exclude(reason="").order_by("-pk").values_list("reason", flat=True)
    words = [word.strip() for reason in recent[:200] for word in reason.split(";") if 0 < len(word.strip()) <= 30]
    counted = sorted(set(words), key=lambda word: (-words.count(word), word))
    return list(dict.fromkeys([*counted[:OFTEN], *USUAL_REASONS]))[: OFTEN + 2]


class DecisionForm(RecordForm):
    """Keep, grow on or let go, and why."""

    verdict = forms.ChoiceField(
        label="Decision", choices=[(verdict, words.capitalize()) for verdict, words in OFFERED],
        widget=forms.RadioSelect(attrs={"class": "barn"}),
        error_messages={"required": "Choose keep, grow on or let go."},
    )  # fmt: skip
    because = forms.MultipleChoiceField(
        label="Because of", required=False, widget=forms.CheckboxSelectMultiple(attrs={"class": "barn"})
    )
    reason = forms.CharField(label="In your own words", max_length=LONGEST_REASON, required=False)
    decided_on = DayField(label="Decided on", initial=timezone.localdate)

    def __init__(self, *args, herds, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["because"].choices = [(word, word) for word in reasons_at_hand(herds)]

    def given(self):
        """What the action takes; ticked and written reasons are one text."""
        words = [*self.cleaned_data["because"], self.cleaned_data["reason"]]
        return {
            "verdict": self.cleaned_data["verdict"],
            "reason": "; ".join(word for word in words if word),
            "on": self.cleaned_data["decided_on"],
        }


class StatusForm(RecordForm):
    """Where one or several animals are now."""

    status = forms.ChoiceField(
        label="Where it is now", choices=[(place, words.capitalize()) for place, words in PLACES],
        widget=forms.RadioSelect(attrs={"class": "barn"}),
        error_messages={"required": "Choose where the animal is now."},
    )  # fmt: skip
    on = DayField(label="Since", initial=timezone.localdate)
    note = forms.CharField(max_length=200, required=False, help_text="Only you and your co-owners read it.")


def words_field(label, most, rows, **more):
    """A few lines in the keeper's own words."""
    widget = forms.Textarea(attrs={"rows": rows, "maxlength": most})
    return forms.CharField(label=label, max_length=most, widget=widget, **more)


def coming_day(label, **more):
    """A day to come, which may be left open."""
    field = DayField(label=label, required=False, **more)
    field.widget = LastDayInput(format="%Y-%m-%d", attrs={"type": "date"})
    return field


class HealthForm(RecordForm):
    """One health note: what was seen, what was done, and the days that follow from it."""

    seen = words_field("What you saw", 500, 2, error_messages={"required": "Say what was seen."})
    on = day_field("Seen on", initial=timezone.localdate)
    done = words_field("What you did or gave", 500, 2, required=False, help_text="In your own words.")
    dose = forms.CharField(
        label="Dose, as the vet said it", max_length=120, required=False,
        help_text="Only written down here. The app never advises a medicine or a dose.",
    )  # fmt: skip
    vet_asked = forms.BooleanField(label="I asked a vet", required=False)
    withdrawal_until = coming_day(
        "Not for the table until",
        help_text="The last day of the withdrawal period, as your vet set it. The law where you live decides.",
    )  # fmt: skip
    no_show_until = coming_day("Not for showing until")
    follow_up_on = coming_day("Look again on", help_text="Today will remind you.")
    field_order = ["seen", "on", "done", "dose", "vet_asked", "withdrawal_until", "no_show_until", "follow_up_on"]


class HealthCorrectionForm(HealthForm):
    """The same note once more, as it should have been, and why; the old one stays readable."""

    reason = forms.CharField(
        label="Why it is corrected", max_length=200, error_messages={"required": "Say why the note is corrected."}
    )
    strike_out = forms.BooleanField(
        label="The whole note is a mistake: strike it out", required=False,
        help_text="It was about another animal, or written twice. It stays readable, and counts no more.",
    )  # fmt: skip
    field_order = ["reason", "strike_out", *HealthForm.field_order]

    def __init__(self, *args, note, **kwargs):
        super().__init__(*args, initial={name: getattr(note, name) for name in HealthForm.field_order}, **kwargs)


class QuarantineForm(forms.Form):
    """From when to when an animal is kept apart."""

    started_on = DayField(label="From", initial=timezone.localdate)
    planned_until = DayField(label="Until")
    reason = forms.CharField(max_length=200, required=False, help_text="New stock, back from a show, unwell.")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        days = Club.current().quarantine_days
        self.fields["planned_until"].initial = timezone.localdate() + timedelta(days=days)
        self.fields["planned_until"].help_text = f"The club's setting is {days} days."


class TransferForm(RecordForm):
    """To which herd an animal goes, and when."""

    to_herd = forms.ModelChoiceField(
        Herd.objects.none(), label="To which herd", empty_label="Choose a herd",
        error_messages={"required": "Choose the herd that the animal goes to."},
    )  # fmt: skip
    on = DayField(label="Day of transfer", initial=timezone.localdate)
    note = forms.CharField(max_length=200, required=False, help_text="The new owner reads it.")
    hand_over_notes = forms.BooleanField(
        label="My notes about the animal go with it", required=False,
        help_text="Otherwise they stay with you, on the page of this transfer. Decisions and their reasons never go.",
    )  # fmt: skip
    health_notes = forms.ModelMultipleChoiceField(
        HealthNote.objects.none(), label="Health notes that the new owner may read", required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="The others stay with you. The days of a running withdrawal period are told in any case.",
    )  # fmt: skip

    def __init__(self, *args, animal, member, **kwargs):
        super().__init__(*args, **kwargs)
        open_herds = Herd.objects.visible_to(member).filter(closed_on__isnull=True).exclude(pk=animal.herd_id)
        self.fields["to_herd"].queryset = open_herds
        notes = HealthNote.objects.standing().filter(animal=animal, herd=animal.herd_id)
        if notes:
            self.fields["health_notes"].queryset = notes
            self.fields["health_notes"].label_from_instance = lambda note: f"{day_words(note.on)}: {note.seen}"
        else:
            del self.fields["health_notes"]
        self.fields["to_herd"].label_from_instance = lambda herd: ", ".join(filter(None, [herd.name, herd.region]))
