"""What a points sheet's page sends: points as people type them, and notes."""

import re
from decimal import Decimal

from django.core.exceptions import ValidationError

from grading.actions import points as actions
from grading.points.reading import points_words

NUMBER = re.compile(r"\d{1,3}(?:\.\d{1,2})?\Z", re.ASCII)
LONGEST_LINE_NOTE = 200
LONGEST_NOTE = 2000


def points_name(place):
    return f"points--{place.code}"


def note_name(place):
    return f"note--{place.code}"


def how_many(place):
    """'0 to 20, in half points': what may be given for a position."""
    return f"0 to {points_words(place.points)}, in {'half' if place.step < 1 else 'whole'} points"


def points_of(place, text):
    """The points that were typed, None for an empty field; ValidationError with a sentence for anything else."""
    typed = text.strip().replace(",", ".").replace("½", ".5")
    typed = f"0{typed}" if typed.startswith(".") else typed
    if not typed:
        return None
    if not NUMBER.match(typed):
        raise ValidationError(f"{place.name}: “{text.strip()[:20]}” cannot be read as points. Give {how_many(place)}.")
    points = Decimal(typed)
    if points > place.points:
        most = points_words(place.points)
        raise ValidationError(f"{place.name} has {most} points; {typed} is more. Give {how_many(place)}.")
    if points % place.step:
        raise ValidationError(f"{place.name} is given in {'half' if place.step < 1 else 'whole'} points. Give "
                              f"{how_many(place)}.")  # fmt: skip
    return points


class PointsPost:
    """The points and notes that a page sent: the whole sheet's, the position `code`'s, or with '' its own note only."""

    def __init__(self, request, look, rows, code=None):
        self.request, self.look, self.code = request, look, code
        self.rows = [row for row in rows if row.is_typed and code in (None, row.place.code)]
        self.typed = {name: value for name, value in request.POST.items() if name.startswith(("points--", "note--"))}
        self.typed["note"] = request.POST.get("note", "")
        self.errors: dict[str, str] = {}

    def save(self):
        """Save what was sent, in one piece; False with the reasons in `errors`, by the field's name."""
        lines = [line for row in self.rows if (line := self._line(row))]
        note = None if self.code else self._sent("note")
        if note is not None and len(note) > LONGEST_NOTE:
            self.errors["note"] = f"This note has {len(note):,} letters; {LONGEST_NOTE:,} are the most. Shorten it."
        if self.errors:
            return False
        try:
            actions.save_points(look=self.look, by=self.request.user, lines=lines, note=note)
        except ValidationError as error:
            self.errors["sheet"] = " ".join(error.messages)
            return False
        return True

    def _line(self, row):
        """(position's key, points, note) of a row; a field that was not sent stays as it is; None without any."""
        place, before = row.place, row.line.given
        points, note = self._sent(points_name(place)), self._sent(note_name(place))
        if points is None and note is None:
            return None
        if note is not None and len(note) > LONGEST_LINE_NOTE:
            self.errors[note_name(place)] = (
                f"The note about {place.name.lower()} has {len(note)} letters; {LONGEST_LINE_NOTE} are the "
                f"most. Shorten it."
            )
        try:
            given = before if points is None else points_of(place, points)
        except ValidationError as error:
            self.errors[points_name(place)] = " ".join(error.messages)
            return None
        return place.key, given, row.note if note is None else note

    def _sent(self, name):
        """What was typed; None where nothing was sent, or only what the page showed as saved.

        So a page that was opened before another phone gave points takes none of them back.
        """
        typed, was = self.request.POST.get(name), self.request.POST.get(f"was--{name}")
        if typed is None or (was is not None and _plain(typed) == _plain(was)):
            return None
        return _plain(typed) if name.startswith("points") else _plain(typed.replace("\x00", ""))  # no database keeps it


def _plain(text):
    """The text with line ends of one kind and nothing around it."""
    return text.replace("\r\n", "\n").strip()
