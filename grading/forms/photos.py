"""Forms of photos: what is said about one, and the files that are sent with it."""

from django import forms
from django.core.exceptions import ValidationError

from grading.actions import photos as actions
from grading.models import Light, View
from grading.models.photo import Reference

BARN = {"class": "barn"}
LIGHTS = [(light.value, light.label) for light in Light]
REFERENCES = [(each.value, each.label) for each in Reference]


class FactsForm(forms.Form):
    """What is said about a photo."""

    view = forms.ChoiceField(
        label="View", choices=View, widget=forms.RadioSelect(attrs=BARN), error_messages={"required": "Choose a view."}
    )
    light = forms.ChoiceField(
        label="Light", choices=[*LIGHTS, ("", "not told")], required=False, widget=forms.RadioSelect
    )
    reference = forms.ChoiceField(label="Reference card in the frame", choices=REFERENCES, widget=forms.RadioSelect)
    taken_on = forms.DateField(
        label="Taken on", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        error_messages={"invalid": "This is no day of the calendar. Write it as 2026-05-03."},
    )  # fmt: skip
    caption = forms.CharField(label="Caption", max_length=200, required=False)


class ManyFilesInput(forms.FileInput):
    allow_multiple_selected = True


class PhotosField(forms.FileField):
    """Several files under one name; which of them are photos is told by the action, file by file."""

    widget = ManyFilesInput

    def clean(self, data, initial=None):
        if not data:
            raise ValidationError("Choose a photo, or take one.", code="required")
        return data if isinstance(data, list) else [data]


class TakeForm(FactsForm):
    """Photos that are being sent, and what is said about all of them."""

    photos = PhotosField(label="Photos")
    client_key = forms.UUIDField(required=False)
    caption = None

    def __init__(self, request, *, animal, too_large=()):
        posted = request.method == "POST"
        super().__init__(request.POST if posted else None, request.FILES if posted else None)
        self.animal, self.by, self.too_large = animal, request.user, too_large
        self.fields["taken_on"].required = False

    def take(self):
        """Store every file that can be stored; what was refused is said by its name. Returns what was taken."""
        if self.too_large:
            self.errors.pop("photos", None)
            for name in self.too_large:
                self.add_error("photos", f"{name}: {actions.too_large()}")
        if set(self.errors) - {"photos"}:
            return []
        given = {name: self.cleaned_data.get(name) for name in ("view", "light", "reference", "taken_on")}
        key, taken = self.cleaned_data.get("client_key"), []
        for file in self.cleaned_data.get("photos") or []:
            try:
                taken.append(actions.add_photo(animal=self.animal, file=file, by=self.by, client_key=key, **given))
            except ValidationError as error:
                self._refused(file, error)
        return taken

    def _refused(self, file, error):
        for field, sentences in (
            error.message_dict.items() if hasattr(error, "error_dict") else [("photos", error.messages)]
        ):
            for sentence in sentences:
                named = (
                    f"{file.name}: {sentence}"
                    if field == "photos" and not self.cleaned_data.get("client_key")
                    else sentence
                )
                self.add_error(field if field in self.fields else "photos", named)

    def problem(self):
        """The reasons in one line, for the script that shows them beside the file."""
        return " ".join(sentence for sentences in self.errors.values() for sentence in sentences)
