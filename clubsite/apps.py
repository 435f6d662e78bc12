from django.apps import AppConfig


class ClubsiteConfig(AppConfig):
    """The house around the other apps: settings, the embedded database, commands and the public page."""

    name = "clubsite"
