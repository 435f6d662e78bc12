"""Forms of photos: what is said about one, and the files that are sent with it."""

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from clubsite.forms import refuse
from clubsite.versions import StalePage
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
    caption = None  # type: ignore[assignment]  # Django takes the field away

    def __init__(self, request, *, animal, look=None, limit=None, initial=None):
        data, files = (request.POST, request.FILES) if request.method == "POST" else (None, None)
        if limit and limit.was_cut:  # what stood behind the files was not read: take what the page proposed
            data = QueryDict(mutable=True)
            data.update({**initial, **request.POST.dict()})
        super().__init__(data, files, initial=initial)
        self.animal, self.look, self.by, self.too_large = animal, look, request.user, limit.too_large if limit else []
        self.by_script = "client_key" in self.data
        self.fields["taken_on"].required = False
        self.fields["taken_on"].help_text = "Left empty, it is the day that the photo itself tells, else today."

    def take(self):
        """Store every file that can be stored; what was refused is said by its name. Returns what was taken."""
        self.full_clean()
        given = {name: self.cleaned_data.get(name) for name in ("view", "light", "reference", "taken_on", "client_key")}
        files = self.cleaned_data.get("photos") or []  # add_error takes them away from cleaned_data
        if self.too_large:
            self.errors.pop("photos", None)  # "choose a photo", when the large one was the only one
        for name in self.too_large:
            self.add_error("photos", self._named(name, actions.too_large()))
        if set(self.errors) - {"photos"}:
            return []
        taken = []
        for file in files:
            try:
                taken.append(actions.add_photo(animal=self.animal, file=file, look=self.look, by=self.by, **given))
            except ValidationError as error:
                self._refused(file, error)
        return taken

    def _refused(self, file, error):
        told = error.message_dict if hasattr(error, "error_dict") else {"photos": error.messages}
        for field, sentences in told.items():
            if field == "photos" or field not in self.fields:
                field, sentences = "photos", [self._named(file.name, sentence) for sentence in sentences]
            self.add_error(field, sentences)

    def _named(self, name, sentence):
        """The sentence with the file it is about; the script shows it beside the file anyway."""
        return sentence if self.by_script else f"{name}: {sentence}"

    def problem(self):
        """The reasons in one line, for the script."""
        return " ".join(sentence for sentences in self.errors.values() for sentence in sentences)


class EditForm(FactsForm):
    """What is said about a stored photo; `seen` tells which version of it the person changed."""

    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    field_order = ["view", "taken_on", "caption", "light", "reference"]

    def __init__(self, data=None, *, photo):
        facts = {name: getattr(photo, name) for name in ("view", "light", "reference", "taken_on", "caption")}
        super().__init__(data, initial=facts | {"seen": actions.version_of(photo)})
        self.photo = photo

    def save(self, by):
        """The photo with what was said, or None with the reasons on the form. Raises StalePage."""
        try:
            return actions.edit_photo(photo=self.photo, by=by, **self.cleaned_data)
        except StalePage:
            raise
        except ValidationError as error:
            refuse(self, error)
            return None
