"""Putting a calibration set together, and its last day."""

from datetime import timedelta

from django import forms
from django.utils import timezone

from grading.actions.calibration import gradable_traits
from grading.calibrating.choosing import FEWEST_ANIMALS, MOST_ANIMALS
from grading.models import Trait
from herds.forms.herds import LastDayInput

USUAL = ("guard_hair_jetness", "surface_cast", "shoulder_depth", "hindquarter_width")


def last_day_field(**given):
    return forms.DateField(widget=LastDayInput(format="%Y-%m-%d", attrs={"type": "date"}), **given)


class SetForm(forms.Form):
    """What an officer says of a new set; its photos are proposed by the app."""

    name = forms.CharField(max_length=80, help_text="Such as: Calibration, spring 2026.")
    opens_on = last_day_field(label="First day", initial=timezone.localdate)
    closes_on = last_day_field(label="Last day")
    animals = forms.IntegerField(
        min_value=FEWEST_ANIMALS, max_value=MOST_ANIMALS, initial=24, help_text="Twenty to forty tell something."
    )
    doubles = forms.IntegerField(
        label="Shown a second time",
        min_value=0,
        max_value=40,
        initial=6,
        help_text="So that everybody sees how steady they are.",
    )
    traits = forms.ModelMultipleChoiceField(
        Trait.objects.none(), label="What is graded", widget=forms.CheckboxSelectMultiple,
        help_text="Surface shade and undercolor together. With a type trait beside them the app can tell whether type "
        "sways the colour grade.",
    )  # fmt: skip

    def __init__(self, *args, breed, **kwargs):
        super().__init__(*args, **kwargs)
        traits = gradable_traits(breed) if breed else Trait.objects.none()
        self.fields["traits"].queryset = traits
        self.fields["closes_on"].initial = timezone.localdate() + timedelta(days=28)
        wanted = [t.pk for t in traits if t.summary in ("surface", "undercolor") or t.code in USUAL]
        self.fields["traits"].initial = wanted


class LastDayForm(forms.Form):
    closes_on = last_day_field(label="Last day")
