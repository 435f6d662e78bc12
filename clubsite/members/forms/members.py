from django import forms

from ..models import Member
from .choosing import AdultField


class RolesForm(forms.ModelForm):
    """What an officer may change of a member: roles, and who answers for a youth."""

    guardian = AdultField(
        help_text=(
            "For a youth account: the name or the e-mail address of an adult member. Empty: an adult. "
            "A youth holds no role and mentors nobody."
        )
    )

    class Meta:
        model = Member
        fields = ["is_officer", "is_registrar", "guardian"]
        help_texts = {
            "is_officer": "Invites members, gives roles, sets the club's days.",
            "is_registrar": "Corrects marks, parents, sex and birth dates of every animal, with a reason.",
        }

    def _post_clean(self):
        """The action checks the roles against those of the others."""
