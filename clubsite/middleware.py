"""Headers that every answer carries."""

from django.conf import settings
from django.utils.cache import patch_cache_control

PERMISSIONS = (
    "camera=(self), geolocation=(), microphone=(), payment=(), usb=(), "
    "publickey-credentials-create=(self), publickey-credentials-get=(self)"
)


class PrivateAnswers:
    """Keep pages of a signed-in member out of shared and disk caches, and close what the site never uses.

    A view that sets Cache-Control itself (photos do) keeps its own.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if settings.SESSION_COOKIE_NAME in request.COOKIES and not response.has_header("Cache-Control"):
            patch_cache_control(response, private=True, no_store=True)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response
