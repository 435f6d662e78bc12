"""Forms of reviews: asking, another end date, a word, a wish that is not met."""

from django import forms
from django.utils import timezone

from clubsite.members.models import Member
from grading.actions.reviews import MOST_ANIMALS
from grading.models import Photo, Question, ReviewWord
from herds.actions.grants import default_end
from herds.forms.herds import LastDayInput
from herds.forms.record import RecordForm
from herds.models import Animal, Herd
from herds.words import age_words, sex_word

QUEUE = "The club's queue: the first mentor who takes it"


class AskForm(RecordForm):
    """Which animals of a herd, what the owner wants to know of them, whom they ask and until when."""

    animals = forms.ModelMultipleChoiceField(
        Animal.objects.none(), label="Which animals", widget=forms.CheckboxSelectMultiple,
        help_text=f"At most {MOST_ANIMALS}. The mentor sees the photos of these and of no others.",
        error_messages={"required": "Choose at least one animal.",
                        "invalid_choice": "One of these animals no longer stands in this herd. Choose again."},
    )  # fmt: skip
    question = forms.ChoiceField(
        label="What do you want to know?", choices=Question.choices, widget=forms.RadioSelect,
        error_messages={"required": "Choose what you want to know."},
    )  # fmt: skip
    words = forms.CharField(
        label="In your own words", required=False, max_length=2000,
        widget=forms.Textarea(attrs={"rows": 4, "maxlength": 2000}),
        help_text="What you saw, what you are unsure of. The mentor reads it before grading, so leave your steps out.",
    )  # fmt: skip
    mentor = forms.ModelChoiceField(
        Member.objects.none(), label="Whom you ask", required=False, empty_label=QUEUE,
        help_text="In the queue every member who takes requests sees your question and the name of your herd. The "
        "animals are opened only to the one who takes it.",
        error_messages={"invalid_choice": "This member takes no requests any more. Choose another."},
    )  # fmt: skip
    ends_on = forms.DateField(
        label="Open until the end of", widget=LastDayInput(format="%Y-%m-%d", attrs={"type": "date"}),
        help_text="You can close the animals again any day before.",
        error_messages={"required": "Choose a last day.", "invalid": "Choose a day."},
    )  # fmt: skip

    def __init__(self, *args, herd, by, litter=None, **kwargs):
        super().__init__(*args, **kwargs)
        animals = Animal.objects.here().filter(herd=herd).by_mark()
        if litter is not None:
            animals = animals.filter(litter=litter)
        self.herd, self.by, self.litter = herd, by, litter
        self.fields["animals"].queryset = animals
        self.fields["animals"].label_from_instance = words_of
        self.fields["mentor"].queryset = mentors_for(herd)
        self.fields["ends_on"].initial = default_end()

    def draft(self):
        """What was typed, as the session keeps it."""
        given = self.cleaned_data
        return {
            "animals": [animal.pk for animal in given["animals"]],
            "question": given["question"],
            "words": given["words"],
            "mentor": given["mentor"].pk if given["mentor"] else "",
            "ends_on": given["ends_on"].isoformat(),
            "litter": self.litter.pk if self.litter else "",
        }

    def given(self):
        return {"herd": self.herd, "litter": self.litter, "by": self.by, **self.cleaned_data}


class UntilForm(RecordForm):
    """Another last day for the animals of a review."""

    ends_on = forms.DateField(
        label="Open until the end of", widget=LastDayInput(format="%Y-%m-%d", attrs={"type": "date"}),
        error_messages={"required": "Choose a last day.", "invalid": "Choose a day."},
    )  # fmt: skip


class WordForm(RecordForm):
    """One contribution to the talk."""

    words = forms.CharField(
        label="Write", max_length=ReviewWord._meta.get_field("words").max_length, widget=forms.Textarea({"rows": 3}),
        error_messages={"required": "Write something first."},
    )  # fmt: skip


class DeclineForm(RecordForm):
    """Why a photo that was asked for cannot be taken."""

    why = forms.CharField(
        label="Why not", max_length=300,
        error_messages={"required": "Say in a few words why not, so that the mentor can go on without it."},
    )  # fmt: skip


class MeetForm(RecordForm):
    """Which photo shows what was asked for."""

    photo = forms.ModelChoiceField(
        Photo.objects.none(), to_field_name="key", error_messages={"required": "Choose a photo."}
    )

    def __init__(self, *args, wish, by, **kwargs):
        super().__init__(*args, **kwargs)
        photos = Photo.objects.editable_by(by).shown().filter(animal=wish.of.animal_id)
        self.fields["photo"].queryset = photos.order_by("-taken_on", "-pk")


def words_of(animal):
    """An animal among the choices: 'A12 Slate, buck, 5 months'."""
    age = age_words(animal.born_on, timezone.localdate()) if animal.born_on else ""
    return ", ".join(filter(None, [str(animal), sex_word(animal.sex), age]))


def mentors_for(herd):
    """Adults who take requests and see nothing of this herd as its keepers."""
    owners = Member.objects.filter(ownerships__herd=herd, ownerships__until__isnull=True)
    mentors = Member.objects.adults().filter(takes_reviews=True).order_by("name", "pk")
    return mentors.exclude(pk__in=owners.values("pk")).exclude(youths__in=owners)


def herds_to_ask_for(member):
    return Herd.objects.editable_by(member).filter(closed_on__isnull=True)
