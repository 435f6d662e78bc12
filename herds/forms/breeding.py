"""The forms of matings, kindlings and kits."""

from datetime import timedelta

from django import forms
from django.db.models import Q
from django.utils import timezone

from herds.actions.kits import foster_choices
from herds.finding import one_space
from herds.models import Animal, Herd, Kit, Litter, LitterEvent, Mating, MatingEvent, Sex
from herds.words import age_words, day_words

from .animals import DayField
from .choosing import AnimalField
from .record import RecordForm, chips, count_field, day_field

SEX_CHIPS = [(Sex.BUCK, "Buck"), (Sex.DOE, "Doe"), (Sex.UNKNOWN, "Not sure")]
DONE_FOR_MATING = [
    ("in_kindle", "Felt in kindle"),
    ("empty", "Felt empty"),
    ("unsure", "Palpated, not sure"),
    (MatingEvent.Kind.NEST_BOX, "Nest box in"),
]
LATELY_DAYS = 400


class AnimalChoice(forms.ModelChoiceField):
    """One of a barn's animals, named with its age."""

    def __init__(self, **kwargs):
        super().__init__(Animal.objects.none(), **kwargs)

    def label_from_instance(self, animal):
        return f"{animal}, {age_words(animal.born_on, timezone.localdate())}"


class MatingForm(RecordForm):
    """Which doe, which buck, which day; the rest may stay empty."""

    doe = AnimalChoice(
        label="Doe", empty_label="Choose a doe",
        error_messages={"required": "Choose the doe.", "invalid_choice": "Choose a doe of your own herds."},
    )  # fmt: skip
    buck = AnimalChoice(
        label="Buck", required=False, empty_label="Choose a buck",
        error_messages={"invalid_choice": "Choose a buck of the list, or type his mark."},
    )  # fmt: skip
    other_buck = AnimalField(
        label="Or a buck from elsewhere", sex=Sex.BUCK, required=False, help_text="Type his mark or name."
    )
    mated_on = day_field("Mated on", initial=timezone.localdate)
    until = DayField(
        label="Left together until", required=False, help_text="Leave empty when they were parted at once."
    )
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args, member, **kwargs):
        super().__init__(*args, **kwargs)
        kept = Animal.objects.kept_by(member).here().order_by("mark_text")
        self.fields["doe"].queryset = kept.filter(sex=Sex.DOE)
        self.fields["buck"].queryset = (Animal.objects.filter(sex=Sex.BUCK) & _bucks_at_hand(member)).order_by(
            "mark_text"
        )
        self.fields["other_buck"].ask(member, Animal.objects.visible_to(member))

    def clean(self):
        found = super().clean()
        typed, chosen = found.get("other_buck"), found.get("buck")
        if typed and chosen and typed != chosen:
            self.add_error("other_buck", f"{chosen} is chosen and {typed} is typed. Leave one of them empty.")
        elif not typed and not chosen and not {"buck", "other_buck"} & self.errors.keys():
            self.add_error("buck", "Choose the buck, or type his mark.")
        return found

    def first_fields(self):
        return [self[name] for name in ("doe", "buck", "other_buck", "mated_on")]

    def more_fields(self):
        return [self[name] for name in ("until", "note")]

    def more_is_open(self):
        """True when something stands in the folded part of the form."""
        return any(field.value() or field.errors for field in self.more_fields())

    def given(self):
        found = self.cleaned_data
        buck = found["buck"] or found["other_buck"]
        return {name: found[name] for name in ("doe", "mated_on", "until", "note")} | {"buck": buck}


def _bucks_at_hand(member):
    """The member's own bucks, and those put to their does of late."""
    lately = timezone.localdate() - timedelta(days=LATELY_DAYS)
    herds = Herd.objects.kept_by(member)
    used = Mating.objects.filter(herd__in=herds, mated_on__gte=lately).values("buck")
    return Animal.objects.filter(Q(herd__in=herds, status__in=["here", "on_loan"]) | Q(pk__in=used))


class MatingUpdateForm(RecordForm):
    """The days and the note of a mating; another pair is another mating."""

    mated_on = day_field("Mated on")
    until = DayField(label="Left together until", required=False)
    note = forms.CharField(label="Note", max_length=200, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)


class MatingEventForm(RecordForm):
    """Palpated, and what was felt; or the nest box: one touch says both."""

    what = chips(DONE_FOR_MATING, label="What was done", error_messages={"required": "Choose what was done."})
    on = day_field("Day", initial=timezone.localdate)
    note = forms.CharField(label="Note", max_length=200, required=False)

    def given(self):
        what = self.cleaned_data["what"]
        box = what == MatingEvent.Kind.NEST_BOX
        kind, result = (what, "") if box else (MatingEvent.Kind.PALPATION, what)
        return {"kind": kind, "result": result, "on": self.cleaned_data["on"], "note": self.cleaned_data["note"]}


class LitterForm(RecordForm):
    """A kindling: from a mating of the log, whose parents are known, or with the parents named here."""

    dam = AnimalChoice(
        label="Doe", empty_label="Choose the doe",
        error_messages={"required": "Choose the doe.", "invalid_choice": "Choose a doe of your own herds."},
    )  # fmt: skip
    sire = AnimalField(
        label="Buck", sex=Sex.BUCK, required=False,
        help_text="Type his mark or name. Left empty, a mating in the log that fits is found by itself.",
    )  # fmt: skip
    born_on = day_field("Kindled on", initial=timezone.localdate)
    born_alive = count_field(
        "Born alive", error_messages={"required": "How many were born alive? Write 0 when none was."}
    )
    born_dead = count_field("Born dead", required=False)
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    field_order = ("dam", "sire", "born_alive", "born_dead", "born_on", "note")

    def __init__(self, *args, member, mating=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.mating = mating
        if mating is not None:
            del self.fields["dam"], self.fields["sire"]
            return
        self.fields["dam"].queryset = Animal.objects.kept_by(member).here().filter(sex=Sex.DOE).order_by("mark_text")
        self.fields["sire"].ask(member, Animal.objects.visible_to(member))

    def given(self):
        found = dict(self.cleaned_data) | {"born_dead": self.cleaned_data["born_dead"] or 0, "mating": self.mating}
        return found if self.mating is None else found | {"dam": self.mating.doe}


class LitterUpdateForm(RecordForm):
    born_on = day_field("Kindled on")
    born_alive = count_field("Born alive")
    born_dead = count_field("Born dead")
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    version = forms.IntegerField(widget=forms.HiddenInput)


class KitsField(forms.ModelMultipleChoiceField):
    """Kits of a nest as chips."""

    def __init__(self, **kwargs):
        widget = forms.CheckboxSelectMultiple(attrs={"class": "barn"})
        super().__init__(queryset=Kit.objects.none(), widget=widget, **kwargs)
        self.home = None

    def offer(self, kits, home):
        """Offer these kits; those born elsewhere than in `home` are named with their birth dam."""
        self.home = home
        self.queryset = Kit.objects.filter(pk__in=[kit.pk for kit in kits]).select_related("litter__dam", "animal")

    def label_from_instance(self, kit):
        name = str(kit.animal) if kit.animal else f"Kit {kit.number}"
        return name if self.home is None or kit.litter_id == self.home.pk else f"{name} of {kit.litter.dam}"


class LitterEventForm(RecordForm):
    """A nest check, the nest box taken out, or weaning."""

    kind = chips(
        [
            (LitterEvent.Kind.NEST_CHECK, "Nest checked"),
            (LitterEvent.Kind.NEST_BOX_OUT, "Nest box out"),
            (LitterEvent.Kind.WEANED, "Weaned"),
        ],
        label="What",
    )
    on = day_field("Day", initial=timezone.localdate)
    dead = count_field("Found dead", required=False)
    lost = KitsField(
        label="Which ones died", required=False,
        help_text="Only if you can tell. Else the last of the list stand for those you counted.",
    )  # fmt: skip
    alive = count_field("Alive", required=False, help_text="Leave empty to have it counted from the log.")
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args, kits, litter, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["lost"].offer(kits, litter)
        if not kits:
            del self.fields["lost"]

    def given(self):
        return {"lost": ()} | self.cleaned_data


class FosterForm(RecordForm):
    """Which kits go to which nest, and when."""

    kits = KitsField(label="Kits", error_messages={"required": "No kit is chosen. Choose at least one."})
    to = forms.ModelChoiceField(
        Litter.objects.none(), label="To the nest of", empty_label=None,
        widget=forms.RadioSelect(attrs={"class": "barn"}),
        error_messages={
            "required": "Choose the litter that takes them.", "invalid_choice": "Choose a litter of the list.",
        },
    )  # fmt: skip
    on = day_field("Day", initial=timezone.localdate)

    def __init__(self, *args, kits, litter, herds, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["kits"].offer(kits, None)
        litters = foster_choices(litter, herds)
        self.nests = litters
        field = self.fields["to"]
        field.queryset = Litter.objects.filter(pk__in=[other.pk for other in litters]).select_related("dam")
        field.label_from_instance = lambda other: f"{other.dam}, kindled {day_words(other.born_on)}"

    def given(self):
        return dict(self.cleaned_data) | {"kits": list(self.cleaned_data["kits"])}


class TattooForm(RecordForm):
    """The day of tattooing; the rows stand in TattooRowForm."""

    on = day_field("Tattooed on", initial=timezone.localdate)


class TattooRowForm(forms.Form):
    """One kit of tattoo day; a row without a mark is left out."""

    mark = forms.CharField(label="Left-ear mark", max_length=40, required=False, widget=forms.TextInput(
        attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}))  # fmt: skip
    sex = chips(SEX_CHIPS, label="Sex", barn=False, required=False)
    name = forms.CharField(label="Name", max_length=80, required=False)

    def __init__(self, *args, kit, **kwargs):
        super().__init__(*args, prefix=f"kit{kit.number}", **kwargs)
        self.kit = kit

    def given(self):
        found = self.cleaned_data
        sex = found["sex"] or Sex.UNKNOWN
        return {"kit": self.kit, "mark": one_space(found["mark"]), "sex": sex, "name": one_space(found["name"])}
