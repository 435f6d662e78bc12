"""Forms of sheets: the file and what it is for, what its columns mean, and what is answered once for all rows."""

from django import forms
from django.utils import timezone

from herds.forms.listing import LenientForm
from herds.importing.scope import ASK, MISSING, NOTES
from herds.models import Breed, Herd, RowOutcome, Status
from herds.sheets.columns import ANIMAL, FIELDS, LITTER
from herds.sheets.days import DAY_FIRST, MONTH_FIRST, YEAR_FIRST
from herds.sheets.opening import MOST_BYTES
from herds.sheets.weights import UNITS

REGISTRY = "registry"
DATES = {
    DAY_FIRST: "the day first: 05/06/2022 is 5 June",
    MONTH_FIRST: "the month first: 05/06/2022 is 6 May",
    YEAR_FIRST: "the year first: 22/06/05 is 5 June",
}
PLACES = [
    (Status.HERE, "in the herd"),
    (Status.NOT_TRACED, "not known"),
    (Status.MOVED_ON, "moved to other homes"),
]
MOST_ASKED = 40


class SheetForm(forms.Form):
    """A file, and the herd or the whole registry that it is about."""

    file = forms.FileField(
        label="The sheet",
        help_text="A CSV file or an XLSX workbook, of up to 20 MB. Nothing goes in before you have seen every row.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.xlsx,.xlsm,.xls,.tsv,.txt,text/csv"}),
        error_messages={"required": "Choose the file of your sheet.", "empty": "The file is empty. Save it again."},
    )
    about = forms.ChoiceField(label="Whose animals are in it?", widget=forms.RadioSelect)

    def __init__(self, *args, member, **kwargs):
        super().__init__(*args, **kwargs)
        self.herds = {herd.slug: herd for herd in Herd.objects.kept_by(member).filter(closed_on__isnull=True)}
        choices = [(slug, herd.name) for slug, herd in self.herds.items()]
        if member.is_registrar:
            choices.append((REGISTRY, "several breeders: the whole registry"))
        self.fields["about"].choices = choices
        if len(choices) == 1:
            self.fields["about"].initial = choices[0][0]

    @property
    def possible(self):
        """Whether there is anything that this member may bring a sheet into."""
        return bool(self.fields["about"].choices)

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(
                f"The file is larger than {MOST_BYTES // 1024**2} MB. Divide it into several sheets."
            )
        return file

    def given(self):
        file = self.cleaned_data["file"]
        return {"herd": self.herds.get(self.cleaned_data["about"]), "name": file.name, "data": file.read()}


class ColumnsForm(forms.Form):
    """What each column of each worksheet means."""

    def __init__(self, *args, found, **kwargs):
        super().__init__(*args, **kwargs)
        self.found = found
        animal = [(name, words) for name, words in FIELDS[ANIMAL].items()]
        litter = [(name, words) for name, words in FIELDS[LITTER].items() if name not in FIELDS[ANIMAL]]
        choices = [("", "left out"), ("Lists of animals", animal), ("Lists of litters", litter)]
        self.parts = []
        for at, part in enumerate(found["parts"]):
            columns = []
            self.fields[f"used-{at}"] = forms.BooleanField(
                label="Bring this worksheet in", required=False, initial=part["used"]
            )
            self.fields[f"kind-{at}"] = forms.ChoiceField(
                label="Its rows are", choices=[(ANIMAL, "animals"), (LITTER, "litters")], initial=part["kind"],
                widget=forms.RadioSelect,
            )  # fmt: skip
            for place, header in enumerate(part["headers"]):
                name = f"column-{at}-{place}"
                self.fields[name] = forms.ChoiceField(
                    label=header or f"column {place + 1}", choices=choices, required=False,
                    initial=part["columns"][place],
                )  # fmt: skip
                columns.append((self[name], part["samples"][place]))
            self.parts.append(
                {"part": part, "used": self[f"used-{at}"], "kind": self[f"kind-{at}"], "columns": columns}
            )

    def clean(self):
        super().clean()
        for at, part in enumerate(self.found["parts"]):
            kind = self.cleaned_data.get(f"kind-{at}")
            for place, header in enumerate(part["headers"]):
                name = f"column-{at}-{place}"
                field = self.cleaned_data.get(name)
                if kind and field and field not in FIELDS[kind]:
                    words = {**FIELDS[ANIMAL], **FIELDS[LITTER]}[field]
                    rows = "animals" if kind == ANIMAL else "litters"
                    said = f"“{header or place + 1}” is chosen as {words}, which a list of {rows} has not."
                    self.add_error(name, said)
        return self.cleaned_data

    def given(self):
        """{place: {used, kind, columns}} as the action takes it."""
        data = self.cleaned_data
        return {
            str(at): {
                "used": data[f"used-{at}"],
                "kind": data[f"kind-{at}"],
                "columns": [data[f"column-{at}-{place}"] for place in range(len(part["headers"]))],
            }
            for at, part in enumerate(self.found["parts"])
        }


class AnswersForm(forms.Form):
    """The questions that are answered once for a whole sheet; only those that this sheet raises are there."""

    def __init__(self, *args, batch, **kwargs):
        super().__init__(*args, **kwargs)
        asks, settings = batch.found.get("asks", {}), batch.settings
        if "dates" in asks or settings.get("dates"):
            self._ask("dates", "How are the days written?", DATES.items(), settings)
        if "weights" in asks or settings.get("weights"):
            self._ask("weights", "Which unit have the weights?", UNITS.items(), settings)
        if "missing" in asks or settings.get("missing", ASK) != ASK:
            label = "Some parents are named, but have no row that goes in and no card. What becomes of them?"
            self._ask("missing", label, MISSING.items(), settings)
        if asks.get("several_breeds") or settings.get("breed"):
            breeds = [(str(breed.pk), breed.name) for breed in Breed.objects.all()]
            self._ask("breed", "Which breed are the animals whose row names none?", breeds, settings)
        self._ask_weighed(asks, settings)
        self._ask_status(batch, settings)
        self.parents = []
        answered = settings.get("parents") or {}
        for ask in asks.get("parents", [])[:MOST_ASKED]:
            choices = [*ask["choices"], ["unknown", f"none of these: leave the {ask['field']} unknown"]]
            rows = ", ".join(str(row) for row in ask["rows"]) + (" and more" if ask["many"] > len(ask["rows"]) else "")
            label = f"Which {ask['field']} is “{ask['said']}” (row {rows})?"
            name = f"parent-{ask['key']}"
            self.fields[name] = forms.ChoiceField(
                label=label, choices=choices, required=False, widget=forms.RadioSelect,
                initial=answered.get(ask["key"]),
            )  # fmt: skip
        self.more_parents = max(0, len(asks.get("parents", [])) - MOST_ASKED)

    def _ask(self, name, label, choices, settings):
        now = settings.get(name) or ""
        self.fields[name] = forms.ChoiceField(
            label=label, choices=list(choices), required=False, widget=forms.RadioSelect,
            initial=str(now) if now != ASK else "",
        )  # fmt: skip

    def _ask_weighed(self, asks, settings):
        if not asks.get("undated"):
            return
        day = settings.get("weighed") or ""
        self.fields["weighed"] = forms.DateField(
            label="The sheet gives no day for its weights. On which day were they weighed?", required=False,
            initial=None if day == NOTES else day or timezone.localdate(),
            widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date", "max": timezone.localdate().isoformat()}),
            help_text="Each weight will say that the sheet gave no day.",
        )  # fmt: skip
        self.fields["weights_to_notes"] = forms.BooleanField(
            label="Nobody knows: keep the weights in the notes", required=False, initial=day == NOTES
        )

    def _ask_status(self, batch, settings):
        initial = settings.get("status") or (Status.HERE if batch.herd_id else Status.NOT_TRACED)
        self.fields["status"] = forms.ChoiceField(
            label="Where are the animals now, when their row does not say?", choices=PLACES, required=False,
            initial=initial, widget=forms.RadioSelect,
        )  # fmt: skip

    def clean_weighed(self):
        day = self.cleaned_data["weighed"]
        if day and day > timezone.localdate():
            raise forms.ValidationError("This day lies in the future. Choose today or an earlier day.")
        return day

    def given(self, earlier):
        """The answers as the action takes them; those not asked stay as they were."""
        data = self.cleaned_data
        answers = {name: data[name] for name in ("dates", "weights", "missing", "status") if name in data}
        if "breed" in data:
            answers["breed"] = int(data["breed"]) if data["breed"] else None
        if "weighed" in data:
            day = data["weighed"]
            today = timezone.localdate()
            answers["weighed"] = NOTES if data["weights_to_notes"] else day.isoformat() if day and day != today else ""
        parents = {
            name.removeprefix("parent-"): value for name, value in data.items() if name.startswith("parent-") and value
        }
        return {**answers, "parents": {**(earlier or {}), **parents}}


class RowFilter(LenientForm):
    """Which rows of a sheet are shown."""

    outcome = forms.ChoiceField(label="Show", required=False, choices=[("", "all rows"), *RowOutcome.choices])
    q = forms.CharField(label="Mark or name", required=False, max_length=80)
