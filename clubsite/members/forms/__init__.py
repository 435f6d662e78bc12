from .account import CloseForm, ProfileForm
from .club import ClubForm
from .invitations import AcceptForm, InvitationForm
from .members import RolesForm

__all__ = ["AcceptForm", "CloseForm", "ClubForm", "InvitationForm", "ProfileForm", "RolesForm"]
