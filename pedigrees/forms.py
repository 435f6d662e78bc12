"""What is asked before something goes on paper."""

from django import forms
from django.core.exceptions import ValidationError

from herds.words import count_words
from pedigrees.paper import PAPERS
from pedigrees.planning.reading import MOST_BUCKS, MOST_DOES, bucks_for, does_for


class CertificateForm(forms.Form):
    generations = forms.TypedChoiceField(
        label="Generations",
        coerce=int,
        choices=[(3, "three: parents to great-grandparents"), (4, "four")],
        initial=3,
        widget=forms.RadioSelect,
    )


class PaperForm(forms.Form):
    paper = forms.ChoiceField(label="Paper", choices=list(PAPERS.items()), initial="a4", widget=forms.RadioSelect)


class VoidForm(forms.Form):
    reason = forms.CharField(label="Why it is void", max_length=200, help_text="Such as: a parent was corrected.")


def asked_paper(values):
    """The paper asked for in an address; A4 for anything unknown."""
    paper = values.get("paper", "a4")
    return paper if paper in PAPERS else "a4"


class AnimalChoices(forms.ModelMultipleChoiceField):
    """Animals to tick, each said by mark, name and, when it is another's, herd."""

    widget = forms.CheckboxSelectMultiple

    def label_from_instance(self, animal):
        return f"{animal} ({animal.herd})" if getattr(animal, "is_own", True) is False else str(animal)


class PlannerForm(forms.Form):
    """Does of one herd, bucks for them, and what the best set has to keep to."""

    doe = AnimalChoices(queryset=None, label="Does", error_messages={"required": "Choose at least one doe."})
    buck = AnimalChoices(queryset=None, label="Bucks", error_messages={"required": "Choose at least one buck."})
    best = forms.BooleanField(label="Propose one set of matings for all these does", required=False)
    limit = forms.DecimalField(
        label="Mean expected inbreeding at most, percent",
        min_value=0,
        max_value=50,
        decimal_places=2,
        required=False,
        initial="6.25",
        help_text="6.25 is what first cousins' kits have.",
    )
    capacity = forms.IntegerField(
        label="Does for one buck at most", min_value=1, max_value=MOST_DOES, required=False, initial=4
    )
    close = forms.BooleanField(label="Close matings may be proposed too", required=False)

    def __init__(self, data, member, herd):
        super().__init__(data)
        self.fields["doe"].queryset = does_for(member, herd)
        self.fields["buck"].queryset = bucks_for(member)
        self.fields["doe"].error_messages["invalid_choice"] = self.fields["buck"].error_messages["invalid_choice"] = (
            "One of the animals no longer stands in the herd, or is no longer offered. Choose again."
        )

    def clean_doe(self):
        return _at_most(list(self.cleaned_data["doe"]), MOST_DOES, "doe")

    def clean_buck(self):
        return _at_most(list(self.cleaned_data["buck"]), MOST_BUCKS, "buck")

    def clean(self):
        given = super().clean()
        given["limit"] = float(given["limit"]) if given.get("limit") is not None else 6.25
        given["capacity"] = given.get("capacity") or 4
        does, bucks = given.get("doe", []), given.get("buck", [])
        breeds = {animal.breed for animal in (*does, *bucks)}
        if len(breeds) > 1:
            raise ValidationError("The chosen animals are of different breeds. Plan one breed at a time.")
        return given | {"does": does, "bucks": bucks}


def _at_most(animals, most, word):
    if len(animals) > most:
        raise ValidationError(f"These are {count_words(len(animals), word)}; plan at most {most} at a time.")
    return animals
