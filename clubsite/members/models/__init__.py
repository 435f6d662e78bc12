from .club import Club
from .invitation import Invitation
from .member import Member
from .submission import Submission

__all__ = ["Club", "Invitation", "Member", "Submission"]
