from django import forms

from ..models import Member
from ..regions import clean_region


class ProfileForm(forms.ModelForm):
    """What members say about themselves."""

    class Meta:
        model = Member
        fields = ["name", "region", "weight_unit", "news_by", "takes_reviews"]
        labels = {
            "name": "Your name",
            "weight_unit": "Weights in",
            "news_by": "News by e-mail",
            "takes_reviews": "I take mentor requests",
        }
        widgets = {
            "weight_unit": forms.RadioSelect,
            "news_by": forms.RadioSelect,
            "name": forms.TextInput(attrs={"autocomplete": "name"}),
        }
        help_texts = {
            "name": "The members of the club see it.",
            "news_by": "When a review, a plan or a calibration waits for you. A letter tells that, and no more.",
            "takes_reviews": "Owners find you first when they look for somebody to grade with them.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["news_by"].required = False  # left out, it stays as it is
        if self.instance.is_youth:
            del self.fields["takes_reviews"]

    def clean_region(self):
        return clean_region(self.cleaned_data["region"])

    def _post_clean(self):
        """The action saves and checks."""


class CloseForm(forms.Form):
    """A closed account cannot be opened again, so the password is asked once more."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    understood = forms.BooleanField(label="I have read what stays and what goes, and that this cannot be undone")

    def __init__(self, *args, member, **kwargs):
        super().__init__(*args, **kwargs)
        self.member = member

    def clean_password(self):
        if not self.member.check_password(self.cleaned_data["password"]):
            raise forms.ValidationError("This is not your password. Nothing was closed.")
        return self.cleaned_data["password"]
