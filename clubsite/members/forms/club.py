from django import forms
from django.contrib.postgres.forms import SimpleArrayField

from ..models import Club
from ..models.club import LATEST_WEIGHING, RANGES, WEIGHINGS, range_words
from ..picture import clean_picture
from ..regions import clean_region
from ..trade import GROUPS, LABELS, TRADE

WORDS = ["name", "region", "introduction", "meetings", "enquiries", "house_rules"]
FORMATTING = "A blank line begins a paragraph, lines beginning with - are a list, web addresses become links."


class ClubForm(forms.ModelForm):
    """The club's own settings, each beside what the trade does."""

    weigh_days = SimpleArrayField(
        forms.IntegerField(
            min_value=0,
            max_value=LATEST_WEIGHING,
            error_messages={
                "invalid": "Give whole numbers of days.",
                "min_value": "Give days from 0 on.",
                "max_value": f"Give days up to {LATEST_WEIGHING}.",
            },
        ),
        max_length=WEIGHINGS,
    )
    picture = forms.FileField(
        label="Picture or logo", required=False,
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        help_text="JPEG, PNG or WebP, up to 8 MB. It stands on the public page and on certificates.",
    )  # fmt: skip
    remove_picture = forms.BooleanField(label="Remove the picture", required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)

    class Meta:
        model = Club
        fields = [*WORDS, *(name for _, _, names in GROUPS for name in names)]
        labels = {
            "name": "The club's name",
            "introduction": "Introduction",
            "meetings": "Meetings and shows",
            "enquiries": "E-mail address for enquiries",
            "house_rules": "House rules",
        }
        help_texts = {
            "region": "A district or county, never an address.",
            "introduction": f"Everybody can read it on the public page. No members' names, no addresses. {FORMATTING}",
            "meetings": f"Everybody can read it on the public page: days and towns. {FORMATTING}",
            "enquiries": "Everybody can read it. Use an address of the club, not a member's own.",
            "house_rules": "Members read them beside the app's own cautions.",
        }
        widgets = {
            "introduction": forms.Textarea(attrs={"rows": 6}),
            "meetings": forms.Textarea(attrs={"rows": 4}),
            "house_rules": forms.Textarea(attrs={"rows": 4}),
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = self.instance.version
        for name, (words, source) in TRADE.items():
            field = self.fields[name]
            field.label = LABELS.get(name, field.label)
            field.help_text = f"The trade: {words} ({source})."
            field.widget.attrs["inputmode"] = "text" if name == "weigh_days" else "numeric"
            if name in RANGES:
                field.widget.attrs.update(zip(("min", "max"), RANGES[name], strict=True))
                field.error_messages["invalid"] = range_words(name)
                field.validators = Club._meta.get_field(name).validators[:2]  # the club's range, with its sentence
        self.fields["weigh_days"].help_text += " Divide the days by commas."

    def clean_region(self):
        return clean_region(self.cleaned_data["region"])

    def clean_weigh_days(self):
        return sorted(set(self.cleaned_data["weigh_days"]))

    def clean_picture(self):
        file = self.cleaned_data["picture"]
        return clean_picture(file) if file else None

    def groups(self):
        """(title, words, bound fields) in the order of the page; a field knows the default it differs from."""
        groups = [(title, words, [self[name] for name in names]) for title, words, names in GROUPS]
        for _, _, fields in groups:
            for field in fields:
                default = default_of(field.name)
                field.default = "" if _same(field.value(), default) else default
        return groups

    def put_back(self, name):
        """Type the default into a field, if `name` is one that has a default; nothing is saved by it."""
        if name in TRADE:
            self.data = self.data.copy()
            self.data[name] = default_of(name)

    def _post_clean(self):
        """The action checks the days against each other and saves."""


def default_of(name):
    """A setting's default as it is typed."""
    default = Club._meta.get_field(name).get_default()
    return ", ".join(map(str, default)) if isinstance(default, list) else str(default)


def _same(value, default):
    typed = ",".join(map(str, value)) if isinstance(value, list) else str(value)
    return typed.replace(" ", "") == default.replace(" ", "")
