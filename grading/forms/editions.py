"""Forms of the editor of breed profiles: each reads one part of a draft into the layout of `profiles.documents`."""

import re
from datetime import timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.text import slugify

from grading.models import BreedProfile, ProfileFinding
from grading.photo_store import NotAPhoto
from grading.profiles.documents import fingerprint, plain
from grading.profiles.words import range_words
from grading.step_files import as_step_picture

UNWANTED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
NOT_ASKED = ""
EFFECTS = [(NOT_ASKED, "is not asked for"), *ProfileFinding.Effect.choices]


def date_input():
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


def two_lines():
    """A sentence that a phone shows whole; its line breaks become spaces."""
    return OneSentence(attrs={"rows": 2})


class OneSentence(forms.Textarea):
    """A text of one line, shown in several."""

    def value_from_datadict(self, data, files, name):
        value = super().value_from_datadict(data, files, name)
        return " ".join(value.split()) if isinstance(value, str) and "\x00" not in value else value


def new_code(name, taken, longest=40):
    """A code from a name that none of `taken` has: 'head_and_ears', 'head_and_ears_2'."""
    base = slugify(name).replace("-", "_")[: longest - 4] or "item"
    number, code = 1, base
    while code in taken:
        number += 1
        code = f"{base}_{number}"
    return code


class PointsField(forms.DecimalField):
    """Points with one decimal at most, as a person types them, with a comma too."""

    def __init__(self, **given):
        given.setdefault("min_value", 0)
        super().__init__(max_digits=5, decimal_places=1, max_value=999, **given)
        self.widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "data-points": ""})
        self.error_messages |= dict.fromkeys(
            ("invalid", "min_value", "max_value", "max_digits", "max_decimal_places", "max_whole_digits"),
            "Write a number of points, such as 20 or 12.5.",
        )
        self.error_messages["required"] = "Give the points."
        for validator in self.validators:
            validator.message = self.error_messages["invalid"]
            validator.messages = dict.fromkeys(getattr(validator, "messages", {}), self.error_messages["invalid"])

    def to_python(self, value):
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


def refuse_unshowable(form):
    """Refuse letters that no file could carry to another registry."""
    for name, value in list(form.cleaned_data.items()):
        if isinstance(value, str) and UNWANTED.search(value):
            form.add_error(name, "This holds a letter that cannot be shown. Type it anew.")


class PartForm(forms.Form):
    """A form over one part of a draft; `seen` tells which content its page was made from."""

    seen = forms.CharField(widget=forms.HiddenInput, max_length=40)
    stale = False

    def __init__(self, data=None, files=None, *, content, **given):
        super().__init__(data, files, **given)
        self.saved = content
        self.fields["seen"].initial = fingerprint(content)

    @property
    def content(self):
        """The part as it was typed."""
        raise NotImplementedError

    def _post_clean(self):
        refuse_unshowable(self)

    def see_again(self, content):
        """Let what was typed be saved over the content that somebody else saved meanwhile."""
        self.stale = True
        self.data = self.data.copy()
        self.data["seen"] = fingerprint(content)


class PlainModelForm(forms.ModelForm):
    """A model's fields, whose rules the action checks."""

    def _post_clean(self):
        pass

    def clean(self):
        refuse_unshowable(self)
        return self.cleaned_data


HEAD_LABELS = {
    "edition": "Edition",
    "in_force_from": "In force from",
    "association": "Association",
    "name": "Name of the profile",
    "official": "This is the association's own schedule, word for word",
    "source": "Where it was taken from",
}


class CopyForm(PlainModelForm):
    """The head of a new edition."""

    class Meta:
        model = BreedProfile
        fields = ["edition", "in_force_from", "association", "name", "breed", "official", "source"]
        labels = HEAD_LABELS
        widgets = {"in_force_from": date_input()}
        help_texts = {
            "edition": "As people call it, such as 2027.",
            "in_force_from": "You can change it until the edition is published.",
            "association": "Another name here makes it another association's profile.",
            "official": "Leave this open for an example or a copy in the club's own words.",
            "source": "A printed schedule, its year and page. Empty for none.",
        }

    def __init__(self, *args, source, **given):
        tomorrow = timezone.localdate() + timedelta(days=1)
        given["initial"] = {
            "edition": next_edition(source.edition),
            "in_force_from": max(tomorrow, source.in_force_from + timedelta(days=1)),
            "association": source.association,
            "name": source.name,
            "breed": source.breed_id,
            "official": source.official,
            "source": source.source,
        }
        super().__init__(*args, **given)


def next_edition(words):
    """'2027 example' from '2026 example': the last year in the words, one on; 'after ...' when there is none."""
    years = list(re.finditer(r"(19|20)\d\d", words))
    if not years:
        return f"after {words}"[:40]
    start, end = years[-1].span()
    return f"{words[:start]}{int(words[start:end]) + 1}{words[end:]}"


class HeadForm(PartForm, PlainModelForm):
    """The head of a draft."""

    class Meta:
        model = BreedProfile
        fields = [
            "edition",
            "in_force_from",
            "in_force_until",
            "association",
            "name",
            "points_total",
            "official",
            "source",
        ]
        labels = HEAD_LABELS | {"points_total": "Points in all", "in_force_until": "In force until"}
        widgets = {"in_force_from": date_input(), "in_force_until": date_input()}
        help_texts = CopyForm.Meta.help_texts | {
            "points_total": "Mostly 100. The positions must add up to it.",
            "in_force_until": "Leave it empty: the next edition sets it.",
        }

    @property
    def content(self):
        about = {name: value for name, value in self.cleaned_data.items() if name != "seen"}
        return about if about["in_force_until"] else {k: v for k, v in about.items() if k != "in_force_until"}


class PointsForm(PartForm):
    """Points and floors of all positions on one page. `rows` are the draft's positions, wholes before their parts."""

    def __init__(self, *args, positions, **given):
        super().__init__(*args, **given)
        self.positions = positions
        for row, whole in self._flat():
            points = PointsField(label=f"{row['name']}: points", initial=row["points"])
            floor = PointsField(label=f"{row['name']}: floor", initial=row.get("floor"), required=False)
            points.widget.attrs |= {"aria-label": points.label, "data-code": row["code"]}
            points.widget.attrs["data-whole"] = "" if row is whole else whole["code"]
            floor.widget.attrs |= {"aria-label": floor.label}
            del floor.widget.attrs["data-points"]
            self.fields |= {f"points-{row['code']}": points, f"floor-{row['code']}": floor}

    def _flat(self):
        return [(row, whole) for whole in self.positions for row in (whole, *whole.get("parts", []))]

    def rows(self):
        """One for each position, in order: the row, whether it is a part, and its two fields."""
        return [
            {
                "row": row,
                "whole": None if row is whole else whole,
                "points": self[f"points-{row['code']}"],
                "floor": self[f"floor-{row['code']}"],
            }
            for row, whole in self._flat()
        ]

    def clean(self):
        for row, _whole in self._flat():
            points, floor = (self.cleaned_data.get(f"{what}-{row['code']}") for what in ("points", "floor"))
            if points == 0:
                self.add_error(f"points-{row['code']}", "A position is worth more than 0 points.")
            if points is not None and floor is not None and floor > points:
                self.add_error(f"floor-{row['code']}", "The floor of a position cannot be more than its points.")
            if points is not None and plain(points) % row.get("step", 1):
                self.add_error(f"points-{row['code']}", "A position's points must be reachable in its own steps.")
        return self.cleaned_data

    @property
    def content(self):
        found = {}
        for row, _whole in self._flat():
            points, floor = (self.cleaned_data[f"{what}-{row['code']}"] for what in ("points", "floor"))
            found[row["code"]] = {"points": plain(points)} | ({} if floor is None else {"floor": plain(floor)})
        return found


class PositionForm(PartForm):
    """One position: its name, its place, what it is worth and what stands behind it."""

    name = forms.CharField(max_length=80, error_messages={"required": "Give the position a name."})
    points = PointsField()
    floor = PointsField(required=False, help_text="With fewer the animal is out.")
    step = forms.ChoiceField(label="Given in", choices=[("1", "whole points"), ("0.5", "half points")])
    part_of = forms.ChoiceField(label="Part of", required=False)
    by_weight = forms.BooleanField(label="Its points come from the weight table", required=False)
    behind = forms.MultipleChoiceField(
        label="Traits behind it", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="The points sheet compares its points with these traits and never works them out.",
    )  # fmt: skip
    faults = forms.MultipleChoiceField(label="Findings behind it", required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args, content, positions, names, codes, code="", **given):
        initial = dict(content or {})
        initial["step"] = f"{initial.get('step', 1):g}"
        super().__init__(*args, content=content, initial=initial, **given)
        self.code, self.taken = code, {row["code"] for whole in positions for row in (whole, *whole.get("parts", []))}
        wholes = [(row["code"], row["name"]) for row in positions if row["code"] != code and not row.get("by_weight")]
        self.fields["part_of"].choices = [("", "nothing"), *wholes]
        chosen = set((content or {}).get("behind", [])), set((content or {}).get("faults", []))
        self.fields["behind"].choices = [(c, n) for c, n in names.traits.items() if c in codes["traits"] | chosen[0]]
        self.fields["faults"].choices = [(c, n) for c, n in names.kinds.items() if c in codes["findings"] | chosen[1]]

    def clean(self):
        points, floor = self.cleaned_data.get("points"), self.cleaned_data.get("floor")
        if points == 0:
            self.add_error("points", "A position is worth more than 0 points.")
        if points and floor is not None and floor > points:
            self.add_error("floor", "The floor of a position cannot be more than its points.")
        if points and plain(points) % float(self.cleaned_data.get("step") or 1):
            self.add_error("points", "A position's points must be reachable in its own steps.")
        return self.cleaned_data

    @property
    def content(self):
        given = self.cleaned_data
        row = {"code": self.code or new_code(given["name"], self.taken), "name": given["name"]}
        row["points"] = plain(given["points"])
        row |= {} if given["floor"] is None else {"floor": plain(given["floor"])}
        row |= {} if given["step"] == "1" else {"step": float(given["step"])}
        row |= {"by_weight": True} if given["by_weight"] else {}
        for name in ("behind", "faults"):
            row |= {name: sorted(given[name])} if given[name] else {}
        return row | ({"part_of": given["part_of"]} if given["part_of"] else {})


class TraitForm(PartForm):
    """One trait: the goal, the seniors' leeway, why, and each step in words."""

    why = forms.CharField(
        label="What the standard wants, in words", max_length=300, required=False,
        widget=OneSentence(attrs={"rows": 3}),
    )  # fmt: skip

    def __init__(self, *args, content, trait, **given):
        super().__init__(*args, content=content, initial={"why": (content or {}).get("why", "")}, **given)
        self.trait, self.pictures, content = trait, {}, content or {}
        off = f"Choose a step of the trait's scale, {trait.scale_low} to {trait.scale_high}."
        choices = [("", "none"), *((step, str(step)) for step in trait.steps)]
        for name, labels in (("goal", ("Goal from", "Goal to")), ("senior", ("Seniors from", "Seniors to"))):
            for end, label, value in zip(("low", "high"), labels, content.get(name, ("", "")), strict=True):
                self.fields[f"{name}_{end}"] = forms.TypedChoiceField(
                    label=label, choices=choices, coerce=int, empty_value=None, required=False, initial=value,
                    error_messages={"invalid_choice": off},
                )  # fmt: skip
        for step in trait.steps:
            self.fields[f"step-{step}"] = forms.CharField(
                label=f"Step {step} in words", max_length=200, required=False,
                initial=content.get("steps", {}).get(str(step), ""), widget=two_lines(),
            )  # fmt: skip
            self.fields[f"picture-{step}"] = forms.FileField(
                label=f"Picture of step {step}", required=False, allow_empty_file=True,
                widget=forms.FileInput(attrs={"accept": "image/*"}),
            )  # fmt: skip
            self.fields[f"without-{step}"] = forms.BooleanField(label="Take this picture out", required=False)

    def clean(self):
        for name, what in (("goal", "goal"), ("senior", "seniors' goal")):
            low, high = (self.cleaned_data.get(f"{name}_{end}") for end in ("low", "high"))
            if (low is None) != (high is None) and not {f"{name}_low", f"{name}_high"} & set(self.errors):
                missing = "low" if low is None else "high"
                self.add_error(f"{name}_{missing}", f"Give both ends of the {what}, or neither.")
            if low is not None and high is not None and low > high:
                self.add_error(f"{name}_high", f"The {what} must name the lower step first.")
        for step in self.trait.steps:
            sent = self.cleaned_data.get(f"picture-{step}")
            if sent and not self.cleaned_data.get(f"step-{step}"):
                self.add_error(f"step-{step}", "Say in words what the picture shows.")
            elif sent:
                try:
                    self.pictures[step] = as_step_picture(sent)
                except NotAPhoto as error:
                    self.add_error(f"picture-{step}", str(error))
        return self.cleaned_data

    @property
    def without(self):
        """The steps whose picture is taken out."""
        return [step for step in self.trait.steps if self.cleaned_data[f"without-{step}"]]

    @property
    def content(self):
        row = {}
        for name in ("goal", "senior"):
            low, high = (self.cleaned_data[f"{name}_{end}"] for end in ("low", "high"))
            row |= {} if low is None else {name: [low, high]}
        row |= {"why": self.cleaned_data["why"]} if self.cleaned_data["why"] else {}
        words = {str(step): self.cleaned_data[f"step-{step}"] for step in self.trait.steps}
        return row | {"steps": {step: text for step, text in words.items() if text}}

    @property
    def goals(self):
        return [self[name] for name in ("goal_low", "goal_high", "senior_low", "senior_high")]

    def steps(self, pictured):
        """For each step its fields and the step text that has a picture, if any."""
        return [
            {
                "step": step,
                "words": self[f"step-{step}"],
                "picture": self[f"picture-{step}"],
                "without": self[f"without-{step}"],
                "text": pictured.get(step),
            }
            for step in self.trait.steps
        ]

    @property
    def scale_words(self):
        return range_words((self.trait.scale_low, self.trait.scale_high))


class FindingsForm(PartForm):
    """What each finding of the registry means in the edition."""

    def __init__(self, *args, kinds, **given):
        super().__init__(*args, **given)
        self.kinds = list(kinds)
        for kind in self.kinds:
            row = self.saved.get(kind.code, {})
            effect = forms.ChoiceField(
                label=f"{kind.name}", choices=EFFECTS, required=False, initial=row.get("effect", NOT_ASKED)
            )
            why = forms.CharField(
                label=f"Why, for {kind.name[0].lower()}{kind.name[1:]}", max_length=200, required=False,
                initial=row.get("why", ""), widget=two_lines(),
            )  # fmt: skip
            self.fields |= {f"effect-{kind.code}": effect, f"why-{kind.code}": why}

    def rows(self):
        return [
            {"kind": kind, "effect": self[f"effect-{kind.code}"], "why": self[f"why-{kind.code}"]}
            for kind in self.kinds
        ]

    @property
    def content(self):
        found = {}
        for kind in self.kinds:
            effect, why = (self.cleaned_data[f"{what}-{kind.code}"] for what in ("effect", "why"))
            if effect != NOT_ASKED:
                found[kind.code] = {"effect": effect} | ({"why": why} if why else {})
        return found


class PublishForm(PartForm):
    """From which day a draft is in force. Its part is the whole edition."""

    in_force_from = forms.DateField(
        label="In force from", widget=date_input(), error_messages={"required": "Choose the day."}
    )

    def clean_in_force_from(self):
        day = self.cleaned_data["in_force_from"]
        if day.year > timezone.localdate().year + 5:
            raise ValidationError("This day is more than five years away. Check the year.")
        return day


class EndForm(forms.Form):
    """The last day of a published edition."""

    in_force_until = forms.DateField(
        label="In force until", required=False, widget=date_input(),
        help_text="The last day on which looks are graded by it. Empty for no end.",
    )  # fmt: skip
