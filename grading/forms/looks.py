"""Forms of the look: how it begins, why it supersedes, and its few facts that are no steps."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from grading.actions import looks as actions
from grading.models import CoatStage, Light, Look, Mode, Role
from herds.models.care import LARGEST_GRAMS
from herds.units import HOW_TO, NotAWeight, parse_weight, weight_words

BARN = {"class": "barn"}


class StartForm(forms.Form):
    """In hand or from photos, and the light; day and role have defaults that are right in the barn."""

    mode = forms.ChoiceField(label="How do you look?", choices=Mode, widget=forms.RadioSelect(attrs=BARN))
    light = forms.ChoiceField(label="In which light?", choices=Light, widget=forms.RadioSelect(attrs=BARN))
    observed_on = forms.DateField(
        label="Day of the look",
        required=False,
        help_text=f"Leave today, or give the day of a look on paper, up to {actions.OLDEST_PAPER_DAYS} days back. From "
        "photos: the day on which they were taken.",
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    )
    role = forms.ChoiceField(label="You look as", required=False, widget=forms.RadioSelect)

    def __init__(self, data=None, *, animal, member):
        own = actions.role_of(member, animal)
        last = Look.objects.filter(observer=member, started_at__date=timezone.localdate()).order_by("-pk").first()
        initial = {
            "mode": last.mode if last else Mode.IN_HAND,
            "light": last.light if last else None,
            "observed_on": timezone.localdate(),
            "role": own,
        }
        super().__init__(data, initial=initial)
        self.animal, self.member = animal, member
        self.fields["role"].choices = [(role.value, role.label) for role in Role if role in (own, Role.JUDGE)]

    def begin(self):
        """The new look, or None with the reasons on the form."""
        return self._tried(lambda: actions.start_look(animal=self.animal, by=self.member, **self.cleaned_data))

    def _tried(self, action):
        try:
            return action()
        except ValidationError as error:
            known = not hasattr(error, "error_dict") or set(error.error_dict) <= set(self.fields)
            self.add_error(None, error if known else ValidationError(error.messages))
            return None


class SupersedeForm(StartForm):
    """A start with the reason why the earlier look is superseded."""

    reason = forms.CharField(
        label="Why does it supersede the earlier look?",
        max_length=300,
        error_messages={"required": "Say why this look supersedes the earlier one."},
        help_text="For example: graded in a molt that I took for prime; steps mixed up.",
    )
    field_order = ["reason", "mode", "light", "observed_on", "role"]

    def begin_instead_of(self, look):
        """The new look that will supersede `look`, or None with the reasons on the form."""
        return self._tried(lambda: actions.supersede_look(look=look, by=self.member, **self.cleaned_data))


class FactsForm(forms.Form):
    """Coat stage, silvering, weight and note; each may be left open, and each may be sent alone."""

    YES_NO = (("yes", "yes"), ("no", "no"))

    coat_stage = forms.ChoiceField(
        label="Coat stage", choices=CoatStage, required=False, widget=forms.RadioSelect(attrs=BARN)
    )
    silvering_complete = forms.ChoiceField(
        label="Is silvering complete, ears too?", choices=YES_NO, required=False, widget=forms.RadioSelect(attrs=BARN)
    )
    weight = forms.CharField(label="Weight", required=False, max_length=20)
    note = forms.CharField(label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, data=None, *, look, member):
        silvering = {True: "yes", False: "no", None: None}[look.silvering_complete]
        initial = {
            "coat_stage": look.coat_stage or None,
            "silvering_complete": silvering,
            "weight": weight_words(look.grams, member.weight_unit),
            "note": look.note,
        }
        super().__init__(data, initial=initial)
        self.look, self.member = look, member
        self.fields["weight"].help_text = HOW_TO[member.weight_unit]

    def clean_weight(self):
        typed = self.cleaned_data["weight"].strip()
        if not typed:
            return None
        if typed == self["weight"].initial:
            return self.look.grams
        try:
            grams = parse_weight(typed, self.member.weight_unit)
        except NotAWeight as error:
            raise ValidationError(str(error)) from error
        if not 10 <= grams <= LARGEST_GRAMS:
            raise ValidationError("This weight is not possible for a rabbit. Check the number and the unit.")
        return grams

    def save(self, only=None):
        """Save the facts that were sent, or the one named; False with the reasons on the form."""
        self.full_clean()
        if self.errors if only is None else only in self.errors:
            return False
        try:
            actions.save_facts(look=self.look, by=self.member, **self.facts(only))
        except ValidationError as error:
            self.add_error(only, error.messages)
            return False
        return True

    def facts(self, only=None):
        """What the action saves, for all fields or the one named; fields that were not sent are left out."""
        given = self.cleaned_data
        all_facts = {
            "coat_stage": given.get("coat_stage", ""),
            "silvering_complete": {"yes": True, "no": False}.get(given.get("silvering_complete", "")),
            "weight": given.get("weight"),
            "note": given.get("note", ""),
        }
        sent = [name for name in all_facts if (only is None and name in self.data) or name == only]
        return {"grams" if name == "weight" else name: all_facts[name] for name in sent}
