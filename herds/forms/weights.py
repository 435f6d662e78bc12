"""A weight as it is typed: pounds and ounces side by side, or kilograms; also as people write it in one box."""

from fractions import Fraction

from django import forms
from django.core.exceptions import ValidationError

from clubsite.members.models.member import WeightUnit
from herds.units import (
    HOW_TO,
    LONGEST,
    NotAWeight,
    decimal_words,
    kg_words,
    lb_oz_from_grams,
    parse_weight,
    pounds_and_ounces,
)

from .record import RecordForm, day_field

PARTS = {WeightUnit.LB_OZ: ("lb", "oz"), WeightUnit.KG: ("kg",)}


class WeightInput(forms.MultiWidget):
    """One box for each part of the unit."""

    template_name = "forms/widgets/weight.html"
    use_fieldset = True

    def __init__(self, unit, attrs=None):
        self.unit = unit
        boxes = {
            part: forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "data-unit": part})
            for part in PARTS[unit]
        }
        super().__init__(boxes, attrs)

    def decompress(self, grams):
        if not isinstance(grams, int):
            return [None] * len(self.widgets)
        if self.unit == WeightUnit.KG:
            return [kg_words(grams)]
        pounds, ounces = lb_oz_from_grams(grams)
        return [str(pounds), decimal_words(ounces)]


class WeightField(forms.Field):
    """Gives whole grams. Set the unit by making the field: WeightField(unit=member.weight_unit)."""

    default_error_messages = {"required": "No weight was given."}

    def __init__(self, *, unit, **kwargs):
        self.unit = unit
        kwargs.setdefault("label", "Weight")
        super().__init__(widget=WeightInput(unit), **kwargs)

    def clean(self, value):
        typed = [(part or "").strip() for part in value or []]
        if not any(typed):
            if self.required:
                raise ValidationError(f"{self.error_messages['required']} {HOW_TO[self.unit]}", code="required")
            return None
        try:
            return self._grams(typed)
        except NotAWeight as error:
            raise ValidationError(str(error), code="invalid") from error

    def _grams(self, typed):
        first, second = (*typed, "")[:2]
        if max(len(first), len(second)) > LONGEST:
            raise NotAWeight(f"So long a text is no weight. {HOW_TO[self.unit]}")
        if not second:
            return parse_weight(
                f"{first} lb" if self._plain(first) and self.unit == WeightUnit.LB_OZ else first, self.unit
            )
        numbers = []
        for part, unit in ((first or "0", "pounds"), (second, "ounces")):
            if not self._plain(part):
                raise NotAWeight(f"“{part}” is no number of {unit}. Write a number, such as 3 or 3.5.")
            numbers.append(Fraction(part.replace(",", ".")))
        grams = pounds_and_ounces(*numbers)
        if grams <= 0:
            raise NotAWeight("This is no weight. A weight is more than 0.")
        return grams

    @staticmethod
    def _plain(text):
        whole, _, rest = text.replace(",", ".").partition(".")
        return whole.isascii() and whole.isdigit() and (not rest or (rest.isascii() and rest.isdigit()))

    def has_changed(self, initial, data):
        return any((part or "").strip() for part in data or [])


class WeightForm(RecordForm):
    """One weighing of an animal, a kit or a litter."""

    on = day_field("Weighed on")
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args, unit, of_litter=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["weight"] = WeightField(unit=unit, label="Weight of the whole litter" if of_litter else "Weight")
        if of_litter:
            self.fields["count"] = forms.IntegerField(
                label="Kits on the scale",
                min_value=1,
                max_value=30,
                widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
            )
        self.order_fields(["weight", "count", "on", "note"])


class WeighRowForm(forms.Form):
    """One row of the weigh screen; empty is no weighing."""

    def __init__(self, *args, unit, label, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["weight"] = WeightField(unit=unit, label=label, required=False)
