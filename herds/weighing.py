"""The rows of the weigh screen: what stands on the scale one after the other, and what it weighed last."""

from dataclasses import dataclass, field

from django.core.exceptions import ValidationError
from django.urls import reverse

from .actions.litters import kits_in_nest
from .actions.weights import record_weight
from .forms.weights import WeighRowForm
from .models import Animal, Weight
from .words import age_words


@dataclass
class WeighRow:
    """One line: an animal, a kit or the whole litter, its form, its last weight, and what happened to it."""

    which: str
    thing: object
    label: str
    detail: str
    form: WeighRowForm
    day: object
    count: int | None = None
    last: Weight | None = None
    today: Weight | None = None
    saved: bool = False
    errors: list = field(default_factory=list)

    @property
    def name(self):
        return f"{self.which}{self.thing.pk}"

    @property
    def url(self):
        return reverse("weigh-row", args=[self.which, self.thing.pk])

    @property
    def error(self):
        """The first sentence against this row, or ''."""
        found = [*self.errors, *(self.form.errors.get("weight", []) if self.form.is_bound else [])]
        return found[0] if found else ""

    def given(self):
        """True when a weight was typed that can be read."""
        return self.form.is_bound and self.form.is_valid() and self.form.cleaned_data["weight"] is not None

    def save(self, *, by):
        """Log the weight for the day, over an earlier one of the same day; True when it was taken."""
        try:
            self.today = record_weight(
                by=by, grams=self.form.cleaned_data["weight"], on=self.day, count=self.count, confirmed="replace",
                **{self.which: self.thing},
            )  # fmt: skip
        except ValidationError as error:
            self.errors = error.messages
            return False
        self.saved = True
        return True


def rows_of_herd(herd, *, member, day, data=None):
    """Every animal that stands in the herd, in the order of marks."""
    animals = list(Animal.objects.editable_by(member).here().filter(herd=herd).by_mark())
    weights = _weights(animal__in=animals)
    return [_row("animal", animal, str(animal), _about(animal, day), member, day, data, weights) for animal in animals]


def rows_of_litter(litter, *, member, day, data=None):
    """The litter as a whole, then every live kit of its nest; a marked kit is weighed as the animal it became."""
    kits = kits_in_nest(litter)
    animals = [kit.animal for kit in kits if kit.animal]
    weights = _weights(litter=litter) | _weights(kit__in=kits) | _weights(animal__in=animals)
    rows = [
        _row("litter", litter, "All together", _kits(len(kits)), member, day, data, weights, count=len(kits) or None)
    ]
    for kit in kits:
        detail = "" if kit.litter_id == litter.pk else f"born to {kit.litter.dam}"
        if kit.animal:
            rows.append(_row("animal", kit.animal, str(kit.animal), detail, member, day, data, weights))
        else:
            rows.append(_row("kit", kit, f"Kit {kit.number}", detail, member, day, data, weights))
    return rows


def row_of_thing(which, thing, *, member, day, data):
    """The row of one thing, as the two lists above draw it."""
    weights = _weights(**{which: thing})
    if which == "litter":
        number = len(kits_in_nest(thing))
        return _row(which, thing, "All together", _kits(number), member, day, data, weights, count=number or None)
    if which == "kit":
        return _row(which, thing, f"Kit {thing.number}", "", member, day, data, weights)
    return _row(which, thing, str(thing), _about(thing, day), member, day, data, weights)


def _row(which, thing, label, detail, member, day, data, weights, count=None):
    found = weights.get((which, thing.pk), {})
    form = WeighRowForm(data, unit=member.weight_unit, label=f"Weight of {label}", prefix=f"{which}{thing.pk}")
    today = found.get(day)
    earlier = max((on for on in found if on < day), default=None)
    return WeighRow(which, thing, label, detail, form, day, count, found.get(earlier), today)


def _weights(**which):
    """{(kind, key): {day: weight}} of the newest weights of these things; one query."""
    found = {}
    for weight in Weight.objects.filter(**which).order_by("on"):
        for kind in ("animal", "kit", "litter"):
            if pk := getattr(weight, f"{kind}_id"):
                found.setdefault((kind, pk), {})[weight.on] = weight
    return found


def _about(animal, day):
    return f"{animal.get_sex_display()}, {age_words(animal.born_on, day)}"


def _kits(number):
    return f"{number} kits on the scale"
