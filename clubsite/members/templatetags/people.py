"""Words about people and their devices: {% load people %}."""

from django import template

from ..listing import role_words

register = template.Library()

SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("CrOS", "Chromebook"),
    ("Windows", "Windows"),
    ("Mac OS X", "Mac"),
    ("Linux", "Linux"),
)
BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)


@register.filter
def device(user_agent):
    """What a browser says of itself, in two words: "Firefox on Android"."""
    browser = next((word for sign, word in BROWSERS if sign in user_agent), "")
    system = next((word for sign, word in SYSTEMS if sign in user_agent), "")
    return f"{browser} on {system}" if browser and system else browser or system or "Another program"


@register.filter
def roles(member, on):
    """The member's roles in words."""
    return role_words(member, on)
