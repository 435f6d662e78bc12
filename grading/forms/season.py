"""What a mentor proposes for a herd's season, and what an owner answers."""

from datetime import timedelta

from django import forms
from django.db.models import Q
from django.utils import timezone

from clubsite.members.models import Club
from grading.barn.pairing import bucks_for_herd, does_in
from grading.models import Aim
from herds.forms.breeding import AnimalChoice
from herds.forms.record import RecordForm
from herds.models import Animal, Sex
from pedigrees.forms import PlannerForm

NEXT_YEAR_FROM = 9  # from September on one plans the next year's litters: common practice, no source


def season_now():
    """The year that is planned today."""
    today = timezone.localdate()
    return today.year + (today.month >= NEXT_YEAR_FROM)


def season_choices():
    year = timezone.localdate().year
    return [(each, str(each)) for each in range(year, year + 3)]


class SeasonItemForm(RecordForm):
    """One proposal: what, with which animal, and why."""

    aim = forms.ChoiceField(
        label="What", choices=[(each.value, each.label.capitalize()) for each in Aim], initial=Aim.MATE,
        widget=forms.RadioSelect, error_messages={"required": "Choose what is to be done."},
    )  # fmt: skip
    animal = AnimalChoice(
        label="Animal", empty_label="none", required=False, help_text="The doe, where it is a mating.",
        error_messages={"invalid_choice": "This animal does not stand in the herd any more. Choose another."},
    )  # fmt: skip
    buck = AnimalChoice(
        label="Buck", empty_label="none", required=False,
        help_text="For a mating only: the herd's own, and those that their owners offer to the club.",
        error_messages={"invalid_choice": "This buck is no longer offered. Choose another."},
    )  # fmt: skip
    why = forms.CharField(
        label="Because", max_length=500, widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Say why: the owner decides by the reason."},
    )  # fmt: skip
    season = forms.TypedChoiceField(label="Season", coerce=int)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, herd, **kwargs):
        super().__init__(*args, **kwargs)
        today = timezone.localdate()
        grown = today - timedelta(days=Club.current().breeding_age_days)
        bucks = Animal.objects.filter(Q(herd=herd) | Q(offered_to_club=True, herd__isnull=False), sex=Sex.BUCK).here()
        self.fields["animal"].queryset = Animal.objects.filter(herd=herd).here().by_mark()
        self.fields["buck"].queryset = bucks.filter(Q(born_on__isnull=True) | Q(born_on__lte=grown)).by_mark()
        self.fields["season"].choices = season_choices()
        self.fields["season"].initial = season_now()

    def given(self):
        return {name: self.cleaned_data[name] for name in ("season", "aim", "animal", "buck", "why")}


class SeasonAnswerForm(RecordForm):
    """A word to the mentor; the button says whether the item is accepted."""

    answer = forms.CharField(
        label="A word to the mentor", max_length=300, required=False,
        help_text="May stay empty. If you decline, a word why helps them with the next proposal.",
    )  # fmt: skip
    version = forms.IntegerField(widget=forms.HiddenInput)


class SeasonPlannerForm(PlannerForm):
    """The planner's questions about a herd that is open to a mentor; `hidden` animals they are to grade blind."""

    def __init__(self, data, member, herd, hidden):
        super().__init__(data, member, herd)
        self.fields["doe"].queryset = does_in(herd, hidden)
        self.fields["buck"].queryset = bucks_for_herd(herd, hidden)


class SeasonPairsForm(RecordForm):
    """One reason and one season for all pairs that the mentor chose."""

    why = forms.CharField(
        label="Because", max_length=500, widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Say why: the owner decides by the reason."},
        help_text="For all chosen pairs. You may edit each afterwards, until the owner answers it.",
    )  # fmt: skip
    season = forms.TypedChoiceField(label="Season", coerce=int)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["season"].choices = season_choices()
        self.fields["season"].initial = season_now()
