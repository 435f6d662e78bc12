"""Which card stays, how one knows, and naming a pair by hand."""

from django import forms

from herds.models import Animal

from .choosing import AnimalField


class MergeForm(forms.Form):
    """Which of the two cards stays, and the reason."""

    keep = forms.TypedChoiceField(label="The card that stays", coerce=int, widget=forms.RadioSelect)
    reason = forms.CharField(
        label="How you know that it is one animal",
        max_length=300,
        help_text="Such as: the breeder confirmed it, or the tattoo was read again.",
    )

    def __init__(self, data, *, pair):
        super().__init__(data)
        self.fields["keep"].choices = [(animal.pk, f"{animal}, {animal.herd or 'outside the club'}") for animal in pair]


class PairForm(forms.Form):
    """Two cards that may be one animal."""

    first = AnimalField(label="One card")
    second = AnimalField(label="The other card")
    why = forms.CharField(label="Why", max_length=300, required=False)

    def __init__(self, data, *, member):
        super().__init__(data)
        for name in ("first", "second"):
            self.fields[name].ask(member, Animal.objects.visible_to(member))
