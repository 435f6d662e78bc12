"""What a list of matings or litters may be asked for."""

from django import forms
from django.db.models import Q

from herds.models import Grant, Herd

MINE, SHARED = "", "shared"
MATING_STATES = [
    ("", "All"),
    ("open", "Open"),
    ("in_kindle", "Felt in kindle"),
    ("litter", "With a litter"),
    ("given_up", "Given up"),
    ("unclosed", "Never closed"),
]
LITTER_STATES = [("", "All"), ("nest", "Not weaned"), ("weaned", "Weaned"), ("unmarked", "With kits to mark")]


class LogFilter(forms.Form):
    """Whose log, in which state, from which days, with which animals."""

    q = forms.CharField(label="Mark or name", required=False, max_length=80, widget=forms.TextInput({"type": "search"}))
    herd = forms.ChoiceField(label="Herd", required=False)
    state = forms.ChoiceField(label="State", required=False)
    since = forms.DateField(label="From", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(label="Until", required=False, widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args, member, states, **kwargs):
        super().__init__(*args, **kwargs)
        self.member = member
        mine = [(str(herd.pk), str(herd)) for herd in Herd.objects.kept_by(member)]
        self.fields["herd"].choices = [(MINE, "My herds"), *mine, (SHARED, "Shared with me")]
        self.fields["state"].choices = states
        self.is_valid()

    def asked(self, name):
        """The answer to one question; '' or None when it was none or no possible one."""
        return self.cleaned_data.get(name)

    @property
    def narrowed(self):
        return any(self.cleaned_data.values())

    def of_herds(self, rows):
        """The rows of the herds that were asked for, among those the member may see."""
        herd = self.asked("herd")
        if herd == SHARED:
            mine = Herd.objects.kept_by(self.member)
            granted = Grant.objects.running().filter(mentor=self.member.pk, with_log=True).values("herd")
            return rows.exclude(herd__in=mine).filter(Q(herd__shares_litters=True) | Q(herd__in=granted))
        return rows.editable_by(self.member).filter(**({"herd": herd} if herd else {}))

    def between(self, rows, day):
        since, until = self.asked("since"), self.asked("until")
        if since:
            rows = rows.filter(**{f"{day}__gte": since})
        return rows.filter(**{f"{day}__lte": until}) if until else rows
