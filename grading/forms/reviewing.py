"""What a mentor writes in a review: advice and opinion, a wish for a photo, a drawing, the end."""

from django import forms

from grading.actions.reviewing import OPINIONS
from grading.models import CoatStage, Drawing, View

LONG = {"rows": 4}


class GradingForm(forms.Form):
    """Beside the steps: the coat's stage, and findings that the photos show."""

    coat_stage = forms.ChoiceField(
        label="Coat stage, as far as the photos show it",
        choices=[("", "cannot tell"), *CoatStage.choices],
        required=False,
        widget=forms.RadioSelect,
    )
    seen = forms.MultipleChoiceField(label="Seen on the photos", required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args, kinds=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["seen"].choices = [(row.kind.code, row.kind.name) for row in kinds]
        if not kinds:
            del self.fields["seen"]


class RefuseForm(forms.Form):
    why = forms.CharField(
        label="The photos are not good enough, because", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )


class AdviceForm(forms.Form):
    """What the owner is told about one animal."""

    advice = forms.CharField(label="Advice", required=False, max_length=4000, widget=forms.Textarea(attrs=LONG))
    opinion = forms.ChoiceField(
        label="Opinion",
        required=False,
        choices=[("", "none"), *[(each.value, each.label) for each in OPINIONS]],
        widget=forms.RadioSelect(attrs={"class": "barn"}),
        help_text="The owner decides; this is what you would do.",
    )
    opinion_reason = forms.CharField(label="Because", required=False, max_length=300)


class WishForm(forms.Form):
    """Another view; its ids are its own, since it stands on one page with other forms that ask why."""

    view = forms.ChoiceField(label="Which view", choices=View.choices)
    why = forms.CharField(label="What it is to show", max_length=300)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, auto_id="wish_%s", **kwargs)


class DrawForm(forms.Form):
    """An arrow or a box, in percent of the photo's width and height from its upper left corner."""

    shape = forms.ChoiceField(choices=Drawing.Shape.choices)
    x1 = forms.FloatField(label="From, percent across", min_value=0, max_value=100)
    y1 = forms.FloatField(label="From, percent down", min_value=0, max_value=100)
    x2 = forms.FloatField(label="To, percent across", min_value=0, max_value=100)
    y2 = forms.FloatField(label="To, percent down", min_value=0, max_value=100)
    words = forms.CharField(label="What it shows", max_length=200, required=False)

    def drawing(self):
        """The cleaned values with fractions of the image."""
        data = dict(self.cleaned_data)
        return data | {name: data[name] / 100 for name in ("x1", "y1", "x2", "y2")}


class FinishForm(forms.Form):
    summary = forms.CharField(
        label="In short, for the owner", required=False, max_length=6000, widget=forms.Textarea(attrs={"rows": 6})
    )
    why_open = forms.CharField(label="Why you leave the open ones", required=False, max_length=250)

    def __init__(self, *args, open_ones=0, **kwargs):
        super().__init__(*args, **kwargs)
        if not open_ones:
            del self.fields["why_open"]
