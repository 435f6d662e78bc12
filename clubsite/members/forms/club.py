from django import forms
from django.contrib.postgres.forms import SimpleArrayField

from ..models import Club
from ..regions import clean_region
from ..trade import GROUPS, TRADE


class ClubForm(forms.ModelForm):
    """The club's own settings, each beside what the trade does."""

    weigh_days = SimpleArrayField(
        forms.IntegerField(min_value=0, max_value=1000), label="Weigh at days of age", max_length=12
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    class Meta:
        model = Club
        fields = ["name", "region", "introduction", "house_rules", *(name for _, _, names in GROUPS for name in names)]
        labels = {"name": "The club's name", "introduction": "Introduction", "house_rules": "House rules"}
        help_texts = {
            "region": "A district or county, never an address.",
            "introduction": "Everybody can read it on the public page. No members' names, no addresses.",
            "house_rules": "Members read them beside the app's own cautions.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = self.instance.version
        for name, (words, source) in TRADE.items():
            field = self.fields[name]
            field.help_text = f"The trade: {words} ({source})."
            field.widget.attrs["inputmode"] = "text" if name == "weigh_days" else "numeric"
            if isinstance(field, forms.IntegerField):
                field.widget.attrs.update(min=0, max=1000)
                field.error_messages["invalid"] = "Give a whole number of days."
        self.fields["weigh_days"].help_text += " Divide the days by commas."

    def clean_region(self):
        return clean_region(self.cleaned_data["region"])

    def clean_weigh_days(self):
        return sorted(set(self.cleaned_data["weigh_days"]))

    def groups(self):
        """(title, words, bound fields) in the order of the page."""
        return [(title, words, [self[name] for name in names]) for title, words, names in GROUPS]

    def _post_clean(self):
        """The action checks the days against each other and saves."""
