"""A field in which a member is named by typing, since a club of two thousand is no list for a phone."""

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q

from ..models import Member

SHOWN = 6


class AdultField(forms.CharField):
    """An adult member by name or e-mail address; empty is None. Never guesses: who is meant must be one."""

    def __init__(self, **given):
        given.setdefault("required", False)
        given.setdefault("max_length", 254)
        super().__init__(widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "words"}), **given)

    def prepare_value(self, value):
        member = Member.objects.filter(pk=value).first() if isinstance(value, int) else value
        return str(member) if isinstance(member, Member) else value

    def clean(self, value):
        typed = " ".join(super().clean(value).split())
        if not typed:
            return None
        adults = Member.objects.adults().order_by("name")
        found = list(adults.filter(Q(name__iexact=typed) | Q(email__iexact=typed))[:2])
        if len(found) == 1:
            return found[0]
        if found:
            raise ValidationError(f"Several members are called {typed}. Type the e-mail address.")
        raise ValidationError(f"No adult member of the club is called “{typed}”.{self.near(adults, typed)}")

    def near(self, adults, typed):
        """A sentence with names that hold what was typed; '' when there are none."""
        names = list(adults.filter(name__icontains=typed).values_list("name", flat=True)[: SHOWN + 1])
        if not names or len(typed) < 2:
            return ""
        more = " and others" if len(names) > SHOWN else ""
        return f" Is it {', '.join(names[:SHOWN])}{more}?"
