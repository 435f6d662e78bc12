"""The forms of a line: what it is, and what single animals are to it."""

from django import forms

from herds.actions.lines import parts_of
from herds.models import Animal, Herd, LinePart, LineRule

from .choosing import AnimalField

PARTS = {
    LinePart.ADDED: "belongs to it",
    LinePart.PASSES_ON: "passes it on",
    LinePart.LEFT_OUT: "is left out, with what descends through it",
}


class LineForm(forms.Form):
    """A line's name, foundation and rule. `version` tells a stale page."""

    name = forms.CharField(label="Name of the line", max_length=80)
    rule = forms.ChoiceField(
        label="How it goes on", choices=LineRule, widget=forms.RadioSelect, initial=LineRule.BUCKS,
        help_text="The foundation passes the line on whatever its sex; after it the line goes on as you choose.",
    )  # fmt: skip
    foundation = AnimalField(
        required=False, label="Foundation animal",
        help_text="The animal that the line goes back to. Leave it empty for a line by hand.",
    )  # fmt: skip
    herd = forms.ModelChoiceField(
        Herd.objects.none(), label="For the herd", required=False, empty_label="none, it is mine alone",
        help_text="All who keep the herd may change the line.",
    )  # fmt: skip
    shared = forms.BooleanField(
        label="Share with the club", required=False,
        help_text="Members see its name, its foundation and which animals belong to it; looks stay as each herd "
        "shares them.",
    )  # fmt: skip
    note = forms.CharField(label="Note", widget=forms.Textarea(attrs={"rows": 3}), required=False, max_length=2000)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, member, line=None, **kwargs):
        if line is not None:
            kwargs["initial"] = {name: getattr(line, name) for name in self.base_fields}
        super().__init__(*args, **kwargs)
        self.fields["foundation"].ask(member, Animal.objects.visible_to(member))
        herds = Herd.objects.kept_by(member)
        self.fields["herd"].queryset = herds | Herd.objects.filter(pk=line.herd_id) if line else herds


class LineAnimalForm(forms.Form):
    """One animal, and what it is to the line."""

    animal = AnimalField(label="Animal")
    part = forms.ChoiceField(label="It", widget=forms.RadioSelect)

    def __init__(self, *args, member, line, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["animal"].ask(member, Animal.objects.visible_to(member))
        parts = parts_of(line)
        self.fields["part"].choices = [(part, PARTS[part]) for part in parts]
        self.fields["part"].initial = parts[0]
