"""Forms for what the club adds to the registry itself, for taking traits in, and for a file that is brought in."""

from django import forms
from django.core.exceptions import ValidationError

from grading.look_sheet import SECTIONS
from grading.models import FindingKind, ProfileFinding, Trait
from grading.models.profile import Site
from grading.profiles.reading import MOST_BYTES, NotAnEdition, text_of_file

from .editions import PlainModelForm, new_code

SECTION_CHOICES = [(section.number, f"{section.number}. {section.name}") for section in SECTIONS.values()]
SCALES = [("1-9", "1 to 9, nine steps"), ("0-10", "0 to 10, in tenths"), ("1-5", "1 to 5, five steps")]


class OwnTraitForm(PlainModelForm):
    """A trait of the club's own."""

    section = forms.TypedChoiceField(label="Where in the look", choices=SECTION_CHOICES, coerce=int)
    scale = forms.ChoiceField(choices=SCALES, help_text="It cannot be changed once an edition with it is published.")
    sites = forms.MultipleChoiceField(
        label="Graded where the coat is parted, at", required=False, widget=forms.CheckboxSelectMultiple,
        choices=[(site.value, site.label) for site in Site if site.value], help_text="None: once for the whole animal.",
    )  # fmt: skip

    field_order = ["name", "question", "section", "scale", "low_words", "high_words", "two_sided", "sites"]

    class Meta:
        model = Trait
        fields = ["name", "question", "low_words", "high_words", "two_sided", "photo_can_show"]
        labels = {
            "question": "What the screen asks",
            "low_words": "The lowest step means",
            "high_words": "The highest step means",
            "two_sided": "The middle step means “the same”",
            "photo_can_show": "A photo can show it",
        }
        help_texts = {
            "question": "Such as: How dark are the toenails?",
            "low_words": "In two or three words.",
            "high_words": "In two or three words.",
        }

    @property
    def given(self):
        """What the action takes."""
        given = dict(self.cleaned_data)
        low, high = given.pop("scale").split("-")
        taken = set(Trait.objects.values_list("code", flat=True))
        return given | {"scale_low": int(low), "scale_high": int(high), "code": new_code(given["name"], taken)}


class OwnFindingForm(PlainModelForm):
    """A finding of the club's own, with what it means in the draft."""

    section = forms.TypedChoiceField(label="Where in the look", choices=SECTION_CHOICES, coerce=int)
    places = forms.CharField(
        label="Places",
        required=False,
        max_length=300,
        help_text="Where it may be seen, with commas: ears, feet, belly.",
    )
    effect = forms.ChoiceField(label="In this edition it", choices=ProfileFinding.Effect.choices)
    why = forms.CharField(max_length=200, required=False)

    class Meta:
        model = FindingKind
        fields = ["name", "section", "hint", "places"]
        help_texts = {"hint": "What to look for, in one sentence."}

    def clean_places(self):
        places = list(dict.fromkeys(filter(None, (part.strip() for part in self.cleaned_data["places"].split(",")))))
        if any(len(place) > 20 for place in places):
            raise ValidationError("A place has up to 20 letters. Divide the places by commas.")
        return places

    @property
    def given(self):
        taken = set(FindingKind.objects.values_list("code", flat=True))
        return self.cleaned_data | {"code": new_code(self.cleaned_data["name"], taken)}


class TakeTraitsForm(forms.Form):
    """Traits of the registry that a draft does not grade yet."""

    traits = forms.ModelMultipleChoiceField(
        Trait.objects.none(), widget=forms.CheckboxSelectMultiple, label="Traits",
        error_messages={"required": "Choose at least one trait."},
    )  # fmt: skip

    def __init__(self, *args, choices, **given):
        super().__init__(*args, **given)
        self.fields["traits"].queryset = choices


class ImportForm(forms.Form):
    """A file, or the text of one that was read before and is being confirmed."""

    file = forms.FileField(
        label="The edition's file", required=False, allow_empty_file=True,
        help_text="A .toml file, as an edition's page saves it. You see what it holds before anything is made.",
        widget=forms.FileInput(attrs={"accept": ".toml,text/plain"}),
    )  # fmt: skip
    text = forms.CharField(required=False, widget=forms.HiddenInput, strip=False)

    def clean(self):
        sent = self.cleaned_data.get("file")
        if sent is None and not self.cleaned_data.get("text"):
            raise ValidationError({"file": "Choose a file first."})
        try:
            data = sent.read(MOST_BYTES) if sent else self.cleaned_data["text"].encode("utf-8", "surrogatepass")
            self.cleaned_data["text"] = text_of_file(data, sent.size if sent else len(data))
        except NotAnEdition as error:
            raise ValidationError({"file": str(error)}) from error
        return self.cleaned_data


class ImportHeadForm(forms.Form):
    """How the edition of a file is called here."""

    association = forms.CharField(max_length=80)
    edition = forms.CharField(max_length=40)
    in_force_from = forms.DateField(
        label="In force from", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )
