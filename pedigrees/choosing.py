"""Which two animals are asked about."""

from django import forms

from herds.forms.choosing import AnimalField
from herds.models import Animal

SAME = "These are one and the same animal. Choose two different ones."


class RelationForm(forms.Form):
    first = AnimalField(label="One animal", help_text="Its mark or name.")
    second = AnimalField(label="The other", help_text="Its mark or name.")

    def __init__(self, data=None, *, member, initial=None):
        super().__init__(data, initial=initial)
        for field in self.fields.values():
            field.ask(member, Animal.objects.visible_to(member))

    def clean(self):
        given = super().clean()
        if given.get("first") and given.get("first") == given.get("second"):
            self.add_error("second", SAME)
        return given
