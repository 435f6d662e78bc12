"""What an action raises when the person may not do it."""

from django.http import Http404


class NotYours(Http404):
    """The member may not do this, or may not know of it; both are answered as if the page were not there."""
