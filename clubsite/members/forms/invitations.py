from django import forms
from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError

from ..models import Invitation, Member
from ..models.member import WeightUnit
from ..regions import clean_region
from .choosing import AdultField


class InvitationForm(forms.ModelForm):
    """What an officer says about the person they invite."""

    guardian = AdultField(
        label="Guardian, for a youth account",
        help_text=(
            "The adult member who answers for a young person, by name or e-mail address. Leave empty for an adult."
        ),
    )

    class Meta:
        model = Invitation
        fields = ["email", "name", "as_officer", "as_registrar", "guardian"]
        labels = {"email": "E-mail address", "name": "Name"}
        help_texts = {
            "name": "As they will see it; they can change it.",
            "as_officer": "Officers invite members, give roles and set the club's days.",
            "as_registrar": "Registrars correct marks, parents, sex and birth dates of every animal.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["email"].widget.attrs["autocomplete"] = "off"

    def _post_clean(self):
        """The action makes the row and checks it."""


class AcceptForm(forms.Form):
    """What the invited person says about themselves."""

    name = forms.CharField(
        label="Your name",
        max_length=80,
        help_text="The members of the club see it.",
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    region = forms.CharField(
        label="Region",
        max_length=80,
        required=False,
        help_text="A district or county, never an address. You may leave it empty.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    weight_unit = forms.ChoiceField(label="Weights in", choices=WeightUnit.choices, widget=forms.RadioSelect)
    password = forms.CharField(
        label="Password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least eight characters; a few words in a row are good. Your browser can keep it for you.",
    )
    again = forms.CharField(
        label="The same password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args, email, **kwargs):
        super().__init__(*args, **kwargs)
        self.email = email
        self.fields["weight_unit"].initial = WeightUnit.LB_OZ

    def clean_region(self):
        return clean_region(self.cleaned_data["region"])

    def clean(self):
        given = super().clean()
        password = given.get("password")
        if password:
            try:
                password_validation.validate_password(password, Member(email=self.email, name=given.get("name", "")))
            except ValidationError as error:
                self.add_error("password", error)
        if password and given.get("again") and password != given["again"]:
            self.add_error("again", "The two passwords are not the same. Type the second one again.")
        return given
