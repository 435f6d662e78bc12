"""Whose sheet it is: a herd or the whole registry, who brings it, and what the person answered once for all rows."""

from dataclasses import dataclass, field
from datetime import date

from django.utils import timezone

from clubsite.members.models import Club
from herds.actions.animals import default_breed
from herds.actions.parents import youngest_parent_days
from herds.models import Breed, Herd

from .registry import Herds, breeds_by_word

ASK, OUTSIDE, UNKNOWN = "ask", "outside", "unknown"
MISSING = {
    OUTSIDE: "enter them as animals outside the club",
    UNKNOWN: "leave these parents unknown",
}
NOTES, IMPORT_DAY = "notes", ""


@dataclass
class Scope:
    """What rows may be matched with and written to; `herd` is None for the whole registry, `by` unattended."""

    herd: object
    by: object
    breed: object = None
    missing: str = ASK
    weighed: str = IMPORT_DAY  # a day in ISO form, or NOTES
    parents: dict = field(default_factory=dict)  # answers to questions about parents
    status: str = ""
    today: date = field(default_factory=timezone.localdate)

    def __post_init__(self):
        self.herds = Herds()
        self.breeds = breeds_by_word()
        self.breed = self.breed or default_breed(self.herd) or self._only_breed()
        self.parent_days = youngest_parent_days(Club.current())
        self.club = Club.current()
        registrar = self.by is None or self.by.is_registrar
        self.is_registrar = registrar
        mine = Herd.objects.kept_by(self.by).values_list("pk", flat=True) if self.by is not None else ()
        self.kept = set(mine) | ({self.herd.pk} if self.herd is not None else set())

    @staticmethod
    def _only_breed():
        breeds = Breed.objects.all()[:2]
        return breeds[0] if len(breeds) == 1 else None

    def may_touch(self, known):
        """Whether this sheet may change what is logged about an animal."""
        if self.herd is None:
            return self.is_registrar
        return known.herd_id in self.kept or (
            known.herd_id is None and (self.by is None or known.logged_by_id == self.by.pk)
        )

    def weighed_on(self):
        """The day of weights that the sheet gives no day for; None when they go into the notes."""
        if self.weighed == NOTES:
            return None
        return date.fromisoformat(self.weighed) if self.weighed else self.today
