"""Forms of a draft's age classes, their weights, and the weight table."""

from itertools import pairwise

from django import forms
from django.core.exceptions import ValidationError

from grading.profiles.shapes import MOST_MONTHS, overlap
from grading.profiles.words import SEXES, months_words
from grading.profiles.writing import WHICH
from herds.units import NotAWeight, parse_weight, weight_words

from .editions import PartForm, PointsField, new_code

SEX_CHOICES = [("", "buck and doe"), ("buck", "buck"), ("doe", "doe")]
EMPTY_BANDS = 3


class GramsField(forms.CharField):
    """A weight in one box, in whichever unit is named, else the reader's; gives grams.

    What is not touched stays to the gram, also when the words shown are rounded to a quarter ounce.
    """

    def __init__(self, *, unit, saved=None, **given):
        self.unit, self.saved = unit, saved
        given.setdefault("required", False)
        super().__init__(initial=weight_words(saved, unit), max_length=40, strip=True, **given)
        self.widget.attrs |= {"autocomplete": "off", "size": 8}

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        if self.saved is not None and text == weight_words(self.saved, self.unit):
            return self.saved
        try:
            return parse_weight(text, self.unit)
        except NotAWeight as error:
            raise ValidationError(str(error)) from error


def months_field(label, **given):
    wrong = f"Write whole months, 0 to {MOST_MONTHS}."
    messages = dict.fromkeys(("invalid", "min_value", "max_value"), wrong) | {"required": "Give the months."}
    widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "size": 4})
    return forms.IntegerField(
        label=label, min_value=0, max_value=MOST_MONTHS, widget=widget, error_messages=messages, **given
    )


class MonthsForm(PartForm):
    """From and until which month each age class goes. `classes` are the draft's."""

    def __init__(self, *args, classes, **given):
        super().__init__(*args, **given)
        self.classes = classes
        for row in classes:
            start, *end = row["months"]
            fields = {
                f"from-{row['code']}": months_field(f"{row['name']}: from month", initial=start),
                f"to-{row['code']}": months_field(
                    f"{row['name']}: up to month", initial=end[0] if end else None, required=False
                ),
            }
            for field in fields.values():
                field.widget.attrs["aria-label"] = field.label
            self.fields |= fields

    def rows(self):
        return [
            {"row": row, "words": months_words(row["months"]), "start": self[f"from-{row['code']}"],
             "end": self[f"to-{row['code']}"]}
            for row in self.classes
        ]  # fmt: skip

    def clean(self):
        for row in self.classes:
            start, end = (self.cleaned_data.get(f"{which}-{row['code']}") for which in ("from", "to"))
            if start is not None and end is not None and end <= start:
                self.add_error(f"to-{row['code']}", "An age class must end after it starts.")
        return self.cleaned_data

    @property
    def content(self):
        found = {}
        for row in self.classes:
            start, end = (self.cleaned_data[f"{which}-{row['code']}"] for which in ("from", "to"))
            found[row["code"]] = [start] if end is None else [start, end]
        return found


class AgeClassForm(PartForm):
    """One age class: its name and the weights it may have; its months too while it is new."""

    name = forms.CharField(max_length=40, error_messages={"required": "Give the class a name."})

    def __init__(self, *args, content, unit, taken, code="", **given):
        super().__init__(*args, content=content, initial={"name": (content or {}).get("name", "")}, **given)
        self.code, self.taken, self.is_new = code, taken, content is None
        if self.is_new:
            self.fields["start"] = months_field("From month")
            self.fields["end"] = months_field(
                "Up to month", required=False, help_text="Not including it. Empty: without end."
            )
        saved = (content or {}).get("weights_g", {})
        for sex in ("both", "buck", "doe"):
            for which in WHICH:
                self.fields[f"{sex}-{which}"] = GramsField(
                    unit=unit, label=which.capitalize(), saved=saved.get(sex, {}).get(which)
                )

    def groups(self):
        """(whose weights, the three fields), for both sexes alike, bucks and does."""
        return [
            (SEXES[sex].capitalize(), [self[f"{sex}-{which}"] for which in WHICH]) for sex in ("both", "buck", "doe")
        ]

    def clean(self):
        start, end = self.cleaned_data.get("start"), self.cleaned_data.get("end")
        if start is not None and end is not None and end <= start:
            self.add_error("end", "An age class must end after it starts.")
        for sex in ("both", "buck", "doe"):
            found = [(w, g) for w in WHICH if (g := self.cleaned_data.get(f"{sex}-{w}")) is not None]
            for (lower, low), (upper, high) in pairwise(found):
                if low >= high and not (self.errors.get(f"{sex}-{lower}") or self.errors.get(f"{sex}-{upper}")):
                    self.add_error(f"{sex}-{upper}", f"The {upper} weight must be over the {lower}.")
        if self._has("both") and (self._has("buck") or self._has("doe")):
            raise ValidationError("Give weights for buck and doe alike, or for each by itself, not both.")
        return self.cleaned_data

    def _has(self, sex):
        return any(self.cleaned_data.get(f"{sex}-{which}") for which in WHICH)

    @property
    def content(self):
        given = self.cleaned_data
        row = {"code": self.code or new_code(given["name"], self.taken, longest=20), "name": given["name"]}
        if self.is_new:
            row["months"] = [given["start"]] if given["end"] is None else [given["start"], given["end"]]
        weights = {}
        for sex in ("both", "buck", "doe"):
            limits = {which: grams for which in WHICH if (grams := given[f"{sex}-{which}"]) is not None}
            weights |= {sex: limits} if limits else {}
        return row | ({"weights_g": weights} if weights else {})


class BandsForm(PartForm):
    """The weight table: for each band from and up to which weight, its points, and for whom."""

    def __init__(self, *args, classes, unit, **given):
        super().__init__(*args, **given)
        self.classes, self.unit = classes, unit
        count = len(self.saved) + EMPTY_BANDS
        if self.is_bound:
            sent = [int(n) for name in self.data if (n := name.removeprefix("points-")).isdigit() and len(n) < 4]
            count = min(200, max([count, *(number + 1 for number in sent)]))
        for number in range(count):
            self._add(number, self.saved[number] if number < len(self.saved) else {})
        self.count = count

    def _add(self, number, band):
        low, *high = band.get("grams", [None])
        who = [("", "every age"), *((row["code"], row["name"]) for row in self.classes)]
        self.fields |= {
            f"low-{number}": GramsField(unit=self.unit, label="From", saved=low),
            f"high-{number}": GramsField(unit=self.unit, label="Up to, included", saved=high[0] if high else None),
            f"points-{number}": PointsField(label="Points", required=False, initial=band.get("points")),
            f"class-{number}": forms.ChoiceField(
                label="Age", choices=who, required=False, initial=band.get("age_class", "")
            ),
            f"sex-{number}": forms.ChoiceField(
                label="Sex", choices=SEX_CHOICES, required=False, initial=band.get("sex", "")
            ),
        }

    def rows(self):
        return [
            {"number": number + 1, "line": [self[f"{what}-{number}"] for what in ("low", "high", "points")],
             "whose": [self[f"{what}-{number}"] for what in ("class", "sex")],
             "is_new": number >= len(self.saved)}
            for number in range(self.count)
        ]  # fmt: skip

    def _given(self, number):
        return {what: self.cleaned_data.get(f"{what}-{number}") for what in ("low", "high", "points", "class", "sex")}

    def clean(self):
        groups = {}
        for number in range(self.count):
            band = self._given(number)
            low, high, points = band["low"], band["high"], band["points"]
            if any(self.errors.get(f"{what}-{number}") for what in band):
                continue
            if low is None and high is None and points is None:
                continue
            if low is None:
                self.add_error(f"low-{number}", "Give the weight from which the band goes, or empty the whole line.")
            elif points is None:
                self.add_error(f"points-{number}", "Give the points of the band, or empty the whole line.")
            elif high is not None and high < low:
                self.add_error(f"high-{number}", "A band's lowest weight cannot be over its highest.")
            else:
                group = groups.setdefault((band["class"], band["sex"]), [])
                grams = [low] if high is None else [low, high]
                if any(overlap(grams, other) for other in group):
                    self.add_error(
                        f"low-{number}", "This band overlaps another one. Each weight may stand in one only."
                    )
                group.append(grams)
        return self.cleaned_data

    @property
    def content(self):
        found = []
        for number in range(self.count):
            band = self._given(number)
            if band["low"] is None:
                continue
            grams = [band["low"]] if band["high"] is None else [band["low"], band["high"]]
            points = float(band["points"])
            row = {"points": int(points) if points.is_integer() else points, "grams": grams}
            row |= {"age_class": band["class"]} if band["class"] else {}
            found.append(row | ({"sex": band["sex"]} if band["sex"] else {}))
        order = {row["code"]: number for number, row in enumerate(self.classes)}
        return sorted(found, key=lambda b: (order.get(b.get("age_class"), -1), b.get("sex", ""), b["grams"][0]))
