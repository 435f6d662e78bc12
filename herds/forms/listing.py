"""What may be asked of a list of animals; wrong values are left out, so that an old link still opens."""

from django import forms

from herds.models import Sex, Status, Verdict

AGES = {
    "young": ("under 3 months", None, 3),
    "junior": ("3 to 6 months", 3, 6),
    "intermediate": ("6 to 8 months", 6, 8),
    "senior": ("8 months and older", 8, None),
}


CLUB_SORTS = [("", "mark"), ("name", "name"), ("-born", "youngest first"), ("born", "oldest first")]


class LenientForm(forms.Form):
    """A GET form: `cleaned_data` always has every field, empty where the value made no sense."""

    def __init__(self, data, **kwargs):
        super().__init__(data, **kwargs)
        self.full_clean()
        for name, field in self.fields.items():
            self.cleaned_data.setdefault(name, field.to_python(None))

    @property
    def filtered(self):
        """True when something is asked for, so that the filter shows."""
        return any(self.cleaned_data[name] for name in self.fields if name != "sort")

    @property
    def narrowed(self):
        """True when something beside the search is asked for, so that the filter stays open."""
        return any(self.cleaned_data[field.name] for field in self.shown())


class HerdFilter(LenientForm):
    """The herd's list."""

    q = forms.CharField(
        label="Mark or name", required=False, max_length=80,
        widget=forms.TextInput({"type": "search", "placeholder": "Mark or name", "autocomplete": "off"}),
    )  # fmt: skip
    status = forms.ChoiceField(label="Where", required=False)
    sex = forms.ChoiceField(choices=[("", "any"), *Sex.choices], required=False)
    age = forms.ChoiceField(
        choices=[("", "any"), *((code, words) for code, (words, *_) in AGES.items())], required=False
    )
    from_months = forms.IntegerField(label="From months", min_value=0, max_value=240, required=False)
    to_months = forms.IntegerField(label="Under months", min_value=1, max_value=240, required=False)
    verdict = forms.ChoiceField(label="Decision", required=False)
    sort = forms.ChoiceField(label="Sort by", required=False)

    def __init__(self, data, *, kept, outcomes, sorts):
        self.kept, self.outcomes, self.sorts = kept, outcomes, sorts
        super().__init__(data)

    def full_clean(self):
        places = [choice for choice in Status.choices if choice[0] != Status.OUTSIDE]
        self.fields["status"].choices = [("", "in the herd"), ("all", "all that ever stood here"), *places]
        verdicts = [choice for choice in Verdict.choices if choice[0] != Verdict.UNDECIDED]
        self.fields["verdict"].choices = [("", "any"), *verdicts, ("none", "not decided")]
        self.fields["sort"].choices = self.sorts
        super().full_clean()

    def shown(self):
        """The fields beside the search that this member gets to see."""
        hidden = {"verdict": self.kept, "status": self.outcomes}
        return [self[name] for name in self.fields if name != "q" and hidden.get(name, True)]

    def ages(self):
        """The age range asked for in whole months, the class narrowed by the numbers."""
        _, low, high = AGES.get(self.cleaned_data["age"], ("", None, None))
        asked_low, asked_high = self.cleaned_data["from_months"], self.cleaned_data["to_months"]
        lows = [value for value in (low, asked_low) if value is not None]
        highs = [value for value in (high, asked_high) if value is not None]
        return max(lows, default=None), min(highs, default=None)


class AnimalFilter(LenientForm):
    """The club's registry."""

    q = forms.CharField(
        label="Mark or name", required=False, max_length=80,
        widget=forms.TextInput({"type": "search", "placeholder": "A12, Slate, Ashgrove Slate", "autocomplete": "off"}),
    )  # fmt: skip
    breeder = forms.CharField(label="Breeder or prefix", required=False, max_length=80)
    sex = forms.ChoiceField(choices=[("", "any"), *Sex.choices], required=False)
    year = forms.IntegerField(label="Year of birth", min_value=1950, max_value=2200, required=False)
    sort = forms.ChoiceField(label="Sort by", choices=CLUB_SORTS, required=False)
    parent = forms.IntegerField(min_value=1, max_value=2**62, required=False, widget=forms.HiddenInput)
    line = forms.IntegerField(min_value=1, max_value=2**62, required=False, widget=forms.HiddenInput)

    def shown(self):
        return [self[name] for name in ("breeder", "sex", "year", "sort")]
