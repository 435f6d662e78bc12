"""Headers that every answer carries."""

from django.conf import settings
from django.middleware.gzip import GZipMiddleware
from django.utils.cache import patch_cache_control

from clubsite.history import acting, now_acting

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


class Remembering:
    """Changes made while a request is answered are remembered with its member and the name of its page.

    Only pages that need a sign-in, or that are sent something, ask who it is: the public page stays free of it.
    """

    SAFE = ("GET", "HEAD", "OPTIONS")

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        with acting(member=None, page="", reason=""):
            return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        member = None
        if request.method not in self.SAFE or getattr(view, "login_required", True):
            member = request.user.pk
        now_acting(member=member, page=request.resolver_match.view_name or "")


class SmallPages(GZipMiddleware):
    """Pages go out compressed, with the random length that Django adds against guessing; photos and files stay."""

    def process_response(self, request, response):
        if response.streaming or not response.get("Content-Type", "").startswith("text/html"):
            return response
        return super().process_response(request, response)
