"""What is remembered of the club's settings and of its members: roles only, never a name or an address."""

from .change import Audience
from .club import Club
from .member import Member
from .remember import remember

remember(Club, "Settings", "the club's settings", audience=Audience.CLUB, leave_out=["is_demo"], hidden=["enquiries"])
remember(
    Member,
    "Roles",
    lambda told: f"the roles of {told.name(Member, told.change.object_id)}",
    audience=Audience.CLUB,
    only=["is_officer", "is_registrar", "is_active", "takes_reviews", "guardian_id", "grader_until", "closed_at"],
    person="it.id",
)
