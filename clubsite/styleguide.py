"""The style page: every component with invented contents. Wired only while ARGENTRY_DEBUG is on."""

from django import forms
from django.contrib.auth.decorators import login_not_required
from django.core.paginator import Paginator
from django.shortcuts import render
from django.utils.safestring import mark_safe

SURFACE_WORDS = {1: "nearly black", 3: "dark silver", 5: "mid silver", 7: "bright silver", 9: "nearly white"}
UNDER_WORDS = {1: "white", 3: "pale grey", 5: "mid slate", 7: "dark slate", 9: "nearly black"}
BODY_WORDS = {1: "much lighter", 3: "lighter", 5: "the same", 7: "darker", 9: "much darker"}
CAST_WORDS = {1: "clearly blue", 3: "a hint of blue", 5: "neutral", 7: "warm", 9: "cream or yellow"}
REACH_WORDS = {0: "no colour at all", 5: "half way down", 10: "to the skin"}

PLOT = """<svg viewBox="0 0 320 220" width="320" height="220"><path d="M40 10V180H310" fill="none" stroke="#1b2027"/>
<rect x="200" y="30" width="70" height="50" fill="none" stroke="#58287d" stroke-dasharray="5 3" stroke-width="2"/>
<text x="205" y="25" font-size="12" fill="#58287d">goal</text>
<text x="175" y="208" font-size="13" text-anchor="middle">surface shade</text>
<text x="14" y="100" font-size="13" text-anchor="middle" transform="rotate(-90 14 100)">undercolor</text>
<g fill="#323c4a"><circle cx="90" cy="50" r="5"/><circle cx="130" cy="75" r="5"/><circle cx="165" cy="90" r="5"/>
<circle cx="215" cy="70" r="5"/><circle cx="240" cy="120" r="5"/><circle cx="285" cy="150" r="5"/></g></svg>"""

BADGES = [
    *("provisional", "superseded", "in-hand", "photo", "disqualifies"),
    *("due", "overdue", "later", "done", "trained", "invented"),
]
ICONS = [
    *("today", "herds", "animals", "sires", "years", "more", "people", "settings", "account"),
    *("camera", "photo", "hand", "ear", "coat", "litter", "scale"),
]


def scale(name, label, words, *, steps=range(1, 10), **more):
    """What components/scale.html takes."""
    rows = [{"value": step, "words": words.get(step, "")} for step in steps]
    return {"name": name, "label": label, "steps": rows, "value": None, **more}


SCALES = [
    scale("surface", "Surface shade", SURFACE_WORDS, kind="surface", help="From three paces, hands off."),
    scale(
        "under", "Undercolor darkness", UNDER_WORDS, kind="under",
        value=7, chosen=True, goal_low=6, goal_high=8, saved="Saved",
    ),
    scale("ears", "Ears against the body", BODY_WORDS, kind="two-sided", value=5, chosen=True, goal_low=4, goal_high=6),
    scale("cast", "Surface cast", CAST_WORDS, kind="cast", cannot_tell=True),
    scale("reach", "Undercolor reach", REACH_WORDS, steps=range(11), kind="plain", help="In tenths of the hair."),
    scale("loin", "Loin width", {1: "narrow", 9: "wide"}, kind="plain", locked="Needs the animal in hand."),
]  # fmt: skip

ANIMALS = [
    {"mark": "FL12", "name": "Sloe", "sex": "doe", "age": "14 months", "surface": 7, "undercolor": 6, "reach": 8},
    {"mark": "OK7", "name": "Quartz", "sex": "buck", "age": "3 years", "surface": 5, "undercolor": 8, "reach": 9},
    {"mark": "", "name": "kit 3 of the May litter", "sex": "sex unknown", "age": "19 days"},
]  # fmt: skip


class WeightParts(forms.MultiWidget):
    """Pounds and ounces, for the style page only."""

    template_name = "forms/widgets/weight.html"
    use_fieldset = True

    def __init__(self):
        parts = [("lb", "numeric", "Pounds"), ("oz", "decimal", "Ounces")]
        super().__init__(
            [forms.TextInput({"data-unit": unit, "inputmode": mode, "aria-label": name}) for unit, mode, name in parts]
        )

    def decompress(self, value):
        return [9, 12]


class SampleForm(forms.Form):
    """One field of each kind."""

    name = forms.CharField(label="Name", help_text="As it is called in the barn.")
    sex = forms.ChoiceField(
        choices=[("buck", "Buck"), ("doe", "Doe"), ("unknown", "Sex unknown")],
        widget=forms.RadioSelect({"class": "barn"}),
    )
    born_on = forms.DateField(label="Born on", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
    white_at = forms.MultipleChoiceField(
        label="White seen at",
        required=False,
        choices=[("head", "Head"), ("feet", "Feet"), ("belly", "Belly"), ("tail", "Tail"), ("body", "Body")],
        widget=forms.CheckboxSelectMultiple,
    )
    weight = forms.Field(label="Weight", widget=WeightParts, required=False)
    herd = forms.ChoiceField(choices=[("1", "Fern Lane"), ("2", "Overknoll")])
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 3}))
    shared = forms.BooleanField(label="Share the looks with my mentor", required=False)


@login_not_required
def styleguide(request):
    """Every component once."""
    wrong = SampleForm({"sex": "doe", "born_on": "2026-02-31", "herd": "1"}, auto_id="wrong_%s", prefix="wrong")
    context = {
        "animals": ANIMALS,
        "badges": BADGES,
        "form": SampleForm(),
        "wrong": wrong,
        "icons": ICONS,
        "page": Paginator(range(90), 20).page(2),
        "plot": mark_safe(PLOT),  # noqa: S308 - a constant of this file
        "plot_columns": ["Progeny", "Surface", "Undercolor"],
        "plot_rows": [["FL12", 7, 6], ["FL14", 5, 8], ["OK21", 6, 7]],
        "scales": SCALES,
        "steps": range(1, 10),
        "sort": request.GET.get("sort", "born"),
    }
    return render(request, "styleguide.html", context)
