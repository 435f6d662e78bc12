"""The changes that members made go into their data; closing an account takes the name away, and the keys stay."""

from .places import DataFile, register


def register_all():
    """Called once when the app is ready."""
    columns = ("day", "time", "by", "kind", "what", "animal or herd", "reason", "page")
    register(DataFile("changes", "what you changed, as far as you may read it today.", 90, columns, changes_of))


def changes_of(member):
    from .models import Change
    from .views.changes import change_row, in_words

    return map(change_row, in_words(Change.objects.visible_to(member).filter(member=member.pk), member))
