"""A form whose rules live in an action: what the action refuses lands on the fields, what it asks is asked."""

from django import forms
from django.core.exceptions import ValidationError

from clubsite.forms import refuse
from clubsite.versions import StalePage
from herds.actions.cautions import NotYetConfirmed

from .animals import DayField


class RecordForm(forms.Form):
    """Has `cautions` and `token` when the action wants them read first; `confirmed` is the token sent back."""

    cautions = ()
    token = ""
    stale = False

    @property
    def confirmed(self):
        return self.data.get("confirmed", "") if self.is_bound else ""

    def carry_out(self, action, **given):
        """What the action made, or None with the reason on the form."""
        try:
            return action(**given)
        except NotYetConfirmed as question:
            self.cautions, self.token = question.cautions, question.token
        except StalePage as error:
            self.stale = True
            self.add_error(None, error)
        except ValidationError as error:
            refuse(self, error)
        return None

    @property
    def refused(self):
        """True when nothing was saved: for the status 422."""
        return bool(self.is_bound and (self.errors or self.cautions))

    @property
    def status(self):
        if self.stale:
            return 409
        return 422 if self.refused else 200


def day_field(label, **kwargs):
    """A day that must be given."""
    return DayField(label=label, error_messages={"required": "Choose the day."}, **kwargs)


def count_field(label, **kwargs):
    """A number of kits, on the number pad."""
    kwargs.setdefault("error_messages", {})
    kwargs["error_messages"] |= {
        "invalid": "Write a whole number, such as 7.",
        "min_value": "A number of kits is 0 or more.",
        "max_value": "So many kits are not possible. Check the number.",
    }
    widget = forms.NumberInput(attrs={"inputmode": "numeric", "min": "0", "max": "30"})
    return forms.IntegerField(label=label, min_value=0, max_value=30, widget=widget, **kwargs)


def chips(choices, *, label, required=True, barn=True, **kwargs):
    """One of a few answers, as chips to touch."""
    widget = forms.RadioSelect(attrs={"class": "barn"} if barn else {})
    return forms.ChoiceField(label=label, choices=choices, required=required, widget=widget, **kwargs)
