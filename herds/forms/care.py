"""The forms of decisions, quarantine and transfers."""

from datetime import timedelta

from django import forms
from django.utils import timezone

from clubsite.members.models import Club
from herds.actions.decisions import OFFERED
from herds.models import Decision, Herd

from .animals import DayField

USUAL_REASONS = ("surface shade", "undercolor", "type", "size", "temperament", "no room")
OFTEN = 6


def reasons_at_hand(herds):
    """The reasons given most often of late, filled up with the usual ones: one tap instead of typing."""
    recent = Decision.objects.filter(herd__in=herds).exclude(reason="").order_by("-pk").values_list("reason", flat=True)
    words = [word.strip() for reason in recent[:200] for word in reason.split(";") if 0 < len(word.strip()) <= 30]
    counted = sorted(set(words), key=lambda word: (-words.count(word), word))
    return list(dict.fromkeys([*counted[:OFTEN], *USUAL_REASONS]))[: OFTEN + 2]


class DecisionForm(forms.Form):
    """Keep, grow on or let go, and why."""

    verdict = forms.ChoiceField(
        label="Decision", choices=[(verdict, words.capitalize()) for verdict, words in OFFERED],
        widget=forms.RadioSelect(attrs={"class": "barn"}),
        error_messages={"required": "Choose keep, grow on or let go."},
    )  # fmt: skip
    because = forms.MultipleChoiceField(
        label="Because of", required=False, widget=forms.CheckboxSelectMultiple(attrs={"class": "barn"})
    )
    reason = forms.CharField(label="In your own words", max_length=240, required=False)
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


class TransferForm(forms.Form):
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

    def __init__(self, *args, animal, member, **kwargs):
        super().__init__(*args, **kwargs)
        open_herds = Herd.objects.visible_to(member).filter(closed_on__isnull=True).exclude(pk=animal.herd_id)
        self.fields["to_herd"].queryset = open_herds
        self.fields["to_herd"].label_from_instance = lambda herd: ", ".join(filter(None, [herd.name, herd.region]))
