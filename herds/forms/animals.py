"""The forms of an animal's card: logging one, editing it, marking it, saying where it is."""

from datetime import date

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils import timezone

from herds.actions.animals import default_breed
from herds.actions.identity import identity_of, is_known
from herds.finding import one_space
from herds.models import Animal, Breed, Herd, MarkKind, Sex
from herds.policies import IDENTITY, identity_rule, keeps
from herds.words import day_words

from .choosing import AnimalField

EARLIEST_YEAR = 1950
SEXES = [(Sex.BUCK, "Buck"), (Sex.DOE, "Doe"), (Sex.UNKNOWN, "Unknown")]


class DayField(forms.DateField):
    """A day that the phone's own calendar picks; impossible ones are refused in a sentence."""

    default_error_messages = {"invalid": "There is no such day. Choose it again, as in 2026-05-03."}

    def __init__(self, **kwargs):
        super().__init__(widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}), **kwargs)

    def validate(self, value):
        super().validate(value)
        if value is not None and value.year < EARLIEST_YEAR:
            raise ValidationError(f"The year {value.year} is too long ago. Check the year.", code="too_early")


class IdentityForm(forms.Form):
    """Sex, birth date, parents and breeder: the facts that pedigrees stand on."""

    sex = forms.ChoiceField(choices=SEXES, widget=forms.RadioSelect(attrs={"class": "close"}), initial=Sex.UNKNOWN)
    born_on = DayField(label="Born", required=False)
    sire = AnimalField(sex=Sex.BUCK, may_add=True, required=False)
    dam = AnimalField(sex=Sex.DOE, may_add=True, required=False)
    breeder = forms.CharField(
        max_length=80, required=False,
        help_text="A herd of the club by its name or prefix, or the name of a breeder outside.",
    )  # fmt: skip

    def __init__(self, *args, member, **kwargs):
        super().__init__(*args, **kwargs)
        self.member = member
        for role in ("sire", "dam"):
            self.fields[role].ask(member, Animal.objects.visible_to(member))

    def clean_breeder(self):
        """The herd of the club that goes by this name or prefix, else a breeder outside."""
        text = one_space(self.cleaned_data["breeder"])
        herds = list(Herd.objects.filter(Q(name__iexact=text) | (Q(prefix__iexact=text) & ~Q(prefix="")))[:2])
        if text and len(herds) > 1:
            named = [herd for herd in herds if herd.prefix and herd.prefix.lower() == text.lower()]
            if len(named) != 1:
                said = f"Two herds of the club are called “{text}”. Type the prefix of the right one."
                raise ValidationError(said)
            herds = named
        return (herds[0], "") if text and herds else (None, text)


class LogForm(IdentityForm):
    """A new animal: the few things that are known in the barn first, all the rest under 'more'."""

    herd = forms.ModelChoiceField(Herd.objects.none(), empty_label=None)
    mark = forms.CharField(
        label="Left-ear mark", max_length=40, required=False,
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false"}),
    )  # fmt: skip
    mark_kind = forms.ChoiceField(
        label="If the mark is another", choices=MarkKind, initial=MarkKind.LEFT_EAR, required=False
    )
    name = forms.CharField(max_length=80, required=False)
    breed = forms.ModelChoiceField(Breed.objects.all(), empty_label=None)
    variety = forms.CharField(max_length=60, required=False)
    imported = forms.BooleanField(label="Came from abroad", required=False)
    silver_complete_on = DayField(
        label="Silvering complete", required=False, help_text="The day it was first seen complete."
    )
    notes = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 3}), required=False, help_text="Only you and your co-owners read these."
    )

    first = ("mark", "sex", "born_on", "sire", "dam")
    more = ("name", "mark_kind", "breeder", "breed", "variety", "silver_complete_on", "imported", "notes")

    def __init__(self, *args, member, herd, **kwargs):
        super().__init__(*args, member=member, **kwargs)
        herds = Herd.objects.kept_by(member).filter(closed_on__isnull=True)
        self.fields["herd"].queryset = herds
        self.fields["herd"].initial = herd
        self.fields["breed"].initial = default_breed(herd)
        if herd is not None:
            self.fields["breeder"].initial = herd.name
        self.several_herds = len(herds) > 1

    @property
    def first_fields(self):
        return [self[name] for name in (("herd", *self.first) if self.several_herds else self.first)]

    @property
    def more_fields(self):
        return [self[name] for name in self.more]

    @property
    def more_is_needed(self):
        """True when something under 'more' was refused, so that it is not hidden."""
        return any(self[name].errors for name in self.more)

    def given(self):
        """What the action takes."""
        values = dict(self.cleaned_data)
        values["bred_in"], values["breeder_name"] = values.pop("breeder")
        values["mark"] = one_space(values["mark"])
        values["mark_kind"] = values["mark_kind"] or MarkKind.LEFT_EAR
        return values


class EditForm(IdentityForm):
    """The card of an animal: its keeper's free fields, and the identity as far as the policy lets the member."""

    name = forms.CharField(max_length=80, required=False)
    variety = forms.CharField(max_length=60, required=False)
    silver_complete_on = DayField(
        label="Silvering complete", required=False, help_text="The day it was first seen complete."
    )
    imported = forms.BooleanField(label="Came from abroad", required=False)
    offered_to_club = forms.BooleanField(label="Offered for matings to the club", required=False)
    notes = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 4}), required=False, help_text="Only you and your co-owners read these."
    )
    reason = forms.CharField(
        label="Why it changes", max_length=300, required=False,
        help_text="Needed when something that was recorded is changed; not for filling in what was not known.",
    )  # fmt: skip
    version = forms.IntegerField(widget=forms.HiddenInput)

    free = ("name", "variety", "silver_complete_on", "imported", "offered_to_club", "notes")

    def __init__(self, *args, member, animal, **kwargs):
        self.animal, self.facts = animal, identity_of(animal)
        initial = {name: getattr(animal, name) for name in self.free} | self.facts | {"version": animal.version}
        self.breeder_text = str(animal.bred_in) if animal.bred_in_id else animal.breeder_name
        initial["breeder"] = self.breeder_text
        super().__init__(*args, member=member, initial=initial, **kwargs)
        self.rule = identity_rule(animal, member)
        self.is_keeper = keeps(animal, member)
        if not self.is_keeper:
            for name in self.free:
                del self.fields[name]
        self.locked = [name for name in IDENTITY if not self.rule.may_change and is_known(name, self.facts[name])]
        for name in self.locked:
            self.fields[name].disabled = True

    @property
    def free_fields(self):
        return [self[name] for name in self.free if name in self.fields]

    @property
    def identity_fields(self):
        return [self[name] for name in (*IDENTITY, "reason")]

    def clean_breeder(self):
        if one_space(self.cleaned_data["breeder"]) == self.breeder_text:
            return self.facts["breeder"]
        return super().clean_breeder()

    def given(self):
        """What the action takes: the free fields, and the identity that is not locked."""
        values = self.cleaned_data
        return {
            "version": values["version"],
            "free": {name: values[name] for name in self.free if name in values},
            "identity": {name: values[name] for name in IDENTITY if name not in self.locked},
            "reason": values["reason"],
        }

    def beside(self, fresh):
        """(label, typed, saved) in words, of what was typed here and stands otherwise in the `fresh` animal."""
        saved = {name: getattr(fresh, name) for name in self.free} | identity_of(fresh)
        names = [name for name in self.fields if name in saved and name in self.cleaned_data]
        return [
            (self[name].label, self._in_words(self.cleaned_data[name]), self._in_words(saved[name]))
            for name in names
            if self.cleaned_data[name] != saved[name]
        ]

    @staticmethod
    def _in_words(value):
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, tuple):  # the breeder: a herd of the club, or a name
            return str(value[0] or value[1])
        if isinstance(value, date):
            return day_words(value)
        return dict(SEXES).get(value, value) if isinstance(value, str) else str(value or "")


class MarkForm(forms.Form):
    """A further mark."""

    kind = forms.ChoiceField(choices=MarkKind, widget=forms.RadioSelect)
    mark = forms.CharField(
        max_length=40, widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"})
    )
    issued_on = DayField(label="Made on", required=False)
    issuer_name = forms.CharField(
        label="Issued by", max_length=80, required=False,
        help_text="For a ring or a registration number: who issued it. An ear mark is its breeder's.",
    )  # fmt: skip

    def __init__(self, *args, animal, **kwargs):
        super().__init__(*args, **kwargs)
        taken = set(animal.marks.current().values_list("kind", flat=True))
        self.fields["kind"].choices = [choice for choice in MarkKind.choices if choice[0] not in taken]


class ReplaceMarkForm(forms.Form):
    """A new mark in place of an old one, or the end of a mark."""

    mark = forms.CharField(
        label="New mark", max_length=40, required=False, help_text="Leave it empty when the mark is lost.",
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"}),
    )  # fmt: skip
    reason = forms.CharField(
        max_length=200, label="Why", help_text="Faded, tattooed again, misread when it was logged, ring lost.",
        error_messages={"required": "Say why the mark was replaced."},
    )  # fmt: skip
    on = DayField(label="On", initial=timezone.localdate)
