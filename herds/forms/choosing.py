"""A field in which an animal is named by typing: resolved on submit, never guessed, helped by suggestions."""

from dataclasses import dataclass

from django import forms
from django.core.exceptions import ValidationError

from herds.finding import called, key, nearest_first, one_space, suggested
from herds.models import Sex
from herds.words import count_words, listed, parent_word

SHOWN = 8
NEW = "new"


@dataclass(frozen=True)
class NewAncestor:
    """An ancestor outside the club that is not in the registry yet; the action logs it."""

    sex: str
    name: str = ""
    mark: str = ""
    breeder_name: str = ""


class AnimalInput(forms.Widget):
    """A text field, and under it the animals it may mean as radios; also a place to add one outside the club."""

    template_name = "forms/widgets/animal.html"
    use_fieldset = False

    def __init__(self, attrs=None, *, sex="", may_add=False):
        super().__init__(attrs)
        self.sex, self.may_add = sex, may_add
        self.candidates, self.asked = [], False

    def value_from_datadict(self, data, files, name):
        parts = ("pick", "for", "name", "mark", "breeder")
        return {"text": data.get(name, ""), **{part: data.get(f"{name}_{part}", "") for part in parts}}

    def value_omitted_from_data(self, data, files, name):
        return name not in data

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        value = value or {}
        if context["widget"]["attrs"].get("disabled"):
            value = {"text": str(value or "")}
        if not isinstance(value, dict):  # an Animal, as the form's initial value
            self.candidates = self.candidates or [value]
            value = {"text": name_of(value), "pick": str(value.pk), "for": name_of(value)}
        context["widget"] |= {"typed": value, "sex": self.sex, "may_add": self.may_add}
        context["answers"] = answers(name, value, self.candidates, sex=self.sex, may_add=self.may_add and self.asked)
        return context


def name_of(animal):
    """What to type to name this animal: its mark, else its name."""
    return animal.mark_text or animal.name or str(animal)


def noun_of(sex):
    """'buck', 'doe' or 'animal'."""
    return {Sex.BUCK: "buck", Sex.DOE: "doe"}.get(sex, "animal")


def answers(name, value, candidates, *, sex, may_add, nothing=False):
    """What templates/herds/animal_answers.html draws: the radios under a text field, and the ancestor to add."""
    return {
        "name": name,
        "text": value.get("text", ""),
        "pick": value.get("pick", ""),
        "candidates": candidates,
        "may_add": may_add,
        "adding": value.get("pick") == NEW,
        "typed": value,
        "role": parent_word(sex),
        "nothing": f"No {noun_of(sex)} in the registry is called “{value.get('text', '')}”." if nothing else "",
    }


class AnimalField(forms.Field):
    """Takes what was typed to one animal of `animals`, or to a NewAncestor where `may_add` allows it.

    Set `field.ask(member, animals)` in the form's __init__; `sex` leaves out animals of the other one.
    """

    widget = AnimalInput
    default_error_messages = {"required": "Type a mark or a name."}

    def __init__(self, *, sex="", may_add=False, **kwargs):
        self.sex = sex
        self.member = self.animals = None
        super().__init__(widget=AnimalInput(sex=sex, may_add=may_add), **kwargs)

    def ask(self, member, animals):
        """Whose suggestions come first, and among which animals."""
        self.member, self.animals = member, animals

    @property
    def noun(self):
        return noun_of(self.sex)

    def fitting(self):
        """The animals that are not known to be of the other sex, with what their cards need."""
        animals = self.animals.select_related("herd", "bred_in")
        return animals.filter(sex__in=[self.sex, Sex.UNKNOWN]) if self.sex else animals

    def clean(self, value):
        if not isinstance(value, dict):  # a disabled field gives its initial value
            return value
        text = one_space(value["text"])
        if not text:
            self.validate(None)
            return None
        if key(value["for"]) == key(text) and value["pick"]:
            if value["pick"] == NEW and self.widget.may_add:
                return self._new_ancestor(value, text)
            chosen = self.fitting().filter(pk=value["pick"]).first() if value["pick"].isdecimal() else None
            if chosen:
                self.widget.candidates = [chosen]
                return chosen
        return self._by_text(text)

    def has_changed(self, initial, data):
        return one_space((data or {}).get("text", "")) != (name_of(initial) if initial else "")

    def _by_text(self, text):
        exact = list(nearest_first(called(self.fitting(), text), self.member)[:SHOWN])
        if len(exact) == 1:
            self.widget.candidates = exact
            return exact[0]
        self.widget.asked = True
        if exact:
            self.widget.candidates = exact
            some = f"{count_words(len(exact), self.noun)} answer" if len(exact) < SHOWN else f"Many {self.noun}s answer"
            raise ValidationError(f"{some} to “{text}”. Choose the right one.", code="ambiguous")
        others = list(called(self.animals, text)[:2]) if self.sex else []
        if len(others) == 1:
            raise ValidationError(
                f"{others[0]} is registered as a {others[0].sex} and cannot be the {parent_word(self.sex)}. "
                f"Choose a {self.noun}.",
                code="other_sex",
            )
        self.widget.candidates = suggested(self.fitting(), text, self.member, SHOWN)
        if self.widget.candidates:
            said = f"No {self.noun} is called exactly “{text}”. Choose one of these, or type the mark again."
        else:
            said = f"No {self.noun} in the registry is called “{text}”. Check the mark or the name."
        raise ValidationError(said, code="unknown")

    def _new_ancestor(self, value, text):
        name, mark, breeder = (one_space(value[part]) for part in ("name", "mark", "breeder"))
        self.widget.asked = True
        long = [word for word, given, most in (("name", name, 80), ("mark", mark, 40), ("breeder", breeder, 80))
                if len(given) > most]  # fmt: skip
        if long:
            raise ValidationError(f"The {listed(long)} of the new ancestor is too long. Shorten it.")
        if not name and not mark:
            raise ValidationError(f"Give the new {parent_word(self.sex)} a name or a mark.")
        known = self.fitting().filter(name__iexact=name, breeder_name__iexact=breeder) if name else self.animals.none()
        known = [animal for animal in known[:SHOWN] if not mark or key(animal.mark_text) in ("", key(mark))]
        if known:
            self.widget.candidates = known
            raise ValidationError(f"{known[0]} is already in the registry with this name and breeder. Choose it.")
        return NewAncestor(sex=self.sex, name=name, mark=mark, breeder_name=breeder)
