"""What is asked before something goes on paper."""

from django import forms

from pedigrees.paper import PAPERS


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
