"""What a list of changes may be asked for."""

from datetime import datetime, time, timedelta

from django import forms
from django.utils import timezone

from ..models import REMEMBERED, Member
from ..telling import SYSTEM


class ChangeFilter(forms.Form):
    """Whose changes, of which kind, from which days."""

    kind = forms.ChoiceField(label="Kind", required=False)
    who = forms.CharField(label="Changed by", required=False, max_length=80, widget=forms.TextInput({"type": "search"}))
    since = forms.DateField(label="From", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    until = forms.DateField(label="Until", required=False, widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args, groups, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [("", "All"), *((group.lower(), group) for group in groups)]
        self.is_valid()

    @property
    def narrowed(self):
        return any(self.cleaned_data.values()) or bool(self.errors)

    def narrow(self, changes):
        """The changes that were asked for."""
        asked = self.cleaned_data
        if kind := asked.get("kind"):
            labels = [label for label, spec in REMEMBERED.items() if spec.group.lower() == kind]
            changes = changes.filter(label__in=labels)
        if who := " ".join(asked.get("who", "").split()):
            if who.lower() in (SYSTEM.lower(), "system"):
                changes = changes.filter(member__isnull=True)
            else:
                changes = changes.filter(member__in=Member.objects.filter(name__icontains=who).values("pk"))
        if since := asked.get("since"):
            changes = changes.filter(at__gte=midnight(since))
        if until := asked.get("until"):
            changes = changes.filter(at__lt=midnight(until + timedelta(days=1)))
        return changes


def midnight(day):
    return timezone.make_aware(datetime.combine(day, time.min))
