from django import forms
from django.db.models import Q

from clubsite.members.models import Member
from clubsite.members.regions import clean_region
from herds.models import Grant, Herd

SHARING = {
    "shares_looks": (
        "Looks",
        "Members may read the finished looks at your animals. Notes in them stay yours and your mentors'.",
    ),
    "shares_photos": ("Photos", "Members may see the photos of your animals."),
    "shares_litters": ("Matings and litters", "Members may read your matings, kindlings and litter sizes."),
    "shares_weights": ("Weights", "Members may read the weights of your animals."),
    "shares_outcomes": (
        "What became of animals",
        "Members may read whether an animal is in the herd, moved on, died or went to the table.",
    ),
    "shares_merits": (
        "Merits",
        "Members may read what the club's evaluation makes of your animals: their merits, and how sure they are.",
    ),
}


class HerdForm(forms.ModelForm):
    """A herd's name and place, and what the club may see of it. `version` tells a stale page."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Herd
        fields = ["name", "prefix", "region", "notes", *SHARING]
        labels = {"name": "Name of the herd", "notes": "Notes"} | {name: words[0] for name, words in SHARING.items()}
        help_texts = {
            "name": "It stands on the registry card of every animal bred here, and stays there.",
            "region": "A district or county, never an address. Every member can see it.",
            "notes": "Only the herd's owners read them.",
        } | {name: words[1] for name, words in SHARING.items()}
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = self.instance.version

    @property
    def about(self):
        return [self[name] for name in ("name", "prefix", "region", "notes")]

    @property
    def sharing(self):
        return [self[name] for name in SHARING]

    def clean_region(self):
        return clean_region(self.cleaned_data["region"])

    def _post_clean(self):
        """The action saves and checks."""


class OwnerForm(forms.Form):
    """Who is to keep the herd too."""

    email = forms.EmailField(
        label="E-mail address of the member",
        help_text="The one they sign in to the club with.",
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )


class LastDayInput(forms.DateInput):
    """A day to come: by its name the field's template gives it no buttons for today and yesterday."""


class GrantForm(forms.ModelForm):
    """Until when a mentor sees the herd, and what they may do in it."""

    class Meta:
        model = Grant
        fields = ["ends_on", "may_grade", "with_log", "with_health", "note"]
        labels = {
            "ends_on": "Until the end of",
            "may_grade": "May grade: log looks at my animals",
            "with_log": "May read matings, litters and weights",
            "with_health": "May read health notes",
            "note": "What you ask them for",
        }
        help_texts = {
            "ends_on": "You can revoke it any day before.",
            "may_grade": "Without this the mentor only reads looks and photos, and writes advice.",
            "note": "The mentor reads it.",
        }
        widgets = {
            "ends_on": LastDayInput(format="%Y-%m-%d", attrs={"type": "date"}),
            "note": forms.Textarea(attrs={"rows": 2, "maxlength": 500}),
        }

    def _post_clean(self):
        """The action saves and checks."""


class NewGrantForm(GrantForm):
    """A grant to a mentor who takes requests, or to another member by e-mail."""

    mentor = forms.ModelChoiceField(
        label="Mentor",
        queryset=Member.objects.none(),
        required=False,
        empty_label="Somebody else, by e-mail",
        help_text="Members who take mentor requests, and mentors whom this herd had before.",
    )
    email = forms.EmailField(
        label="Or the e-mail address of another member",
        required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )
    field_order = ["mentor", "email"]

    def __init__(self, *args, herd, by, **kwargs):
        super().__init__(*args, **kwargs)
        owners = herd.ownerships.filter(until__isnull=True).values("member")
        adults = Member.objects.adults().exclude(pk__in=owners).exclude(pk=by.pk)
        self.adults = adults
        known = Q(takes_reviews=True) | Q(pk__in=herd.grants.values("mentor"))
        self.fields["mentor"].queryset = adults.filter(known).order_by("name")

    def clean(self):
        given = super().clean()
        email = given.pop("email", "")
        if email and given.get("mentor"):
            self.add_error("email", "Choose a mentor from the list or give an e-mail address, not both.")
        elif email:
            given["mentor"] = self.adults.filter(email__iexact=email).first()
            if given["mentor"] is None:
                self.add_error("email", "No other adult member of the club has this e-mail address.")
        elif not given.get("mentor") and "mentor" not in self.errors:
            self.add_error("mentor", "Choose a mentor, or give an e-mail address below.")
        return given
