"""Doors of views: who is not let in is told that there is no such page."""

from functools import wraps

from clubsite.errors import NotYours


def officers_only(view):
    """For pages of the club's officers."""

    @wraps(view)
    def guarded(request, *args, **kwargs):
        if not getattr(request.user, "is_officer", False):
            raise NotYours
        return view(request, *args, **kwargs)

    return guarded
