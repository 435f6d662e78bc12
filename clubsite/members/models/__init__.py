from . import history
from .change import READERS, TIES, Action, Audience, Change
from .club import Club
from .invitation import Invitation
from .member import Member, NewsBy
from .remember import REMEMBERED, Remembered, remember, unremembered
from .submission import Submission

__all__ = [
    "READERS",
    "REMEMBERED",
    "TIES",
    "Action",
    "Audience",
    "Change",
    "Club",
    "Invitation",
    "Member",
    "NewsBy",
    "Remembered",
    "Submission",
    "history",
    "remember",
    "unremembered",
]
