from django import forms

from ..models import Member


class RolesForm(forms.ModelForm):
    """What an officer may change of a member: roles, and who answers for a youth."""

    class Meta:
        model = Member
        fields = ["is_officer", "is_registrar", "guardian"]
        help_texts = {
            "is_officer": "Invites members, gives roles, sets the club's days.",
            "is_registrar": "Corrects marks, parents, sex and birth dates of every animal, with a reason.",
            "guardian": "For a youth account. Empty: an adult. A youth holds no role and mentors nobody.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["guardian"].queryset = Member.objects.adults().exclude(pk=self.instance.pk).order_by("name")
        self.fields["guardian"].empty_label = "No guardian: an adult"

    def _post_clean(self):
        """The action checks the roles against those of the others."""
