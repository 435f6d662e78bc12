"""What is missing before a review is sent: photos for its question and for the protocol, and a look to compare."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import urlencode

from django.urls import reverse
from django.utils import timezone

from herds.words import day_words, listed

from .look_changes import why_provisional
from .models import Look, Photo, Question, View
from .photo_guide import in_full

COLOR = (View.LEFT_SIDE, View.TOP, View.HEAD_FRONT, View.PARTED_LOIN, View.PARTED_RUMP)
TYPE = (View.LEFT_SIDE, View.TOP, View.REAR)
# Which views a question needs, and for how long a photo or a look shows the coat of today: common practice, no source.
NEEDED = {
    Question.KEEP: tuple(dict.fromkeys([*COLOR, *TYPE])),
    Question.COLOR: COLOR,
    Question.BUCK: tuple(dict.fromkeys([*COLOR, *TYPE])),
    Question.PROGRESS: COLOR,
    Question.OTHER: (View.LEFT_SIDE, View.TOP),
}
PROTOCOL = tuple(view for view in View if view != View.OTHER)
FRESH_WEEKS = 8


@dataclass(frozen=True)
class Wanted:
    """A view that is missing, or that was last taken long ago (`last`), with how it is taken and where."""

    view: View
    how: str
    url: str
    last: object = None

    @property
    def label(self):
        return self.view.label

    @property
    def state(self):
        return f"last taken {day_words(self.last)}" if self.last else "not taken yet"


@dataclass(frozen=True)
class Missing:
    """One animal's gaps: views for the question, further views of the protocol, and what is wrong with its look."""

    animal: object
    wanted: tuple
    further: tuple
    look: str
    look_url: str

    @property
    def nothing(self):
        return not self.wanted and not self.look


def missing_for(animals, question, *, member, back="", today=None):
    """A `Missing` for each animal. Two queries, whatever the number of animals."""
    today = today or timezone.localdate()
    since = today - timedelta(weeks=FRESH_WEEKS)
    taken = defaultdict(dict)
    photos = Photo.objects.visible_to(member).shown().filter(animal__in=animals).order_by("taken_on")
    for animal, view, day in photos.values_list("animal", "view", "taken_on"):
        taken[animal][view] = day
    looks = Look.objects.visible_to(member).current().by_keepers().filter(animal__in=animals)
    newest = {look.animal_id: look for look in looks.order_by("animal_id", "-observed_on", "-pk").distinct("animal_id")}
    return [_missing(each, question, taken[each.pk], newest.get(each.pk), since, back) for each in animals]


def _missing(animal, question, taken, look, since, back):
    def want(view):
        return Wanted(view, in_full(view), photo_url(animal.pk, view, back), taken.get(view))

    needed = NEEDED[Question(question)]
    stale = [view for view in needed if taken.get(view) is None or taken[view] < since]
    further = [view for view in PROTOCOL if view not in needed and view not in taken]
    return Missing(
        animal,
        tuple(map(want, stale)),
        tuple(map(want, further)),
        look_gap(look, since),
        reverse("look-create", args=[animal.pk]),
    )


def look_gap(look, since):
    """What is wrong with the owner's newest look, as a sentence; '' when it can be compared."""
    if look is None:
        return "No look yet: grade it yourself first, then you see where you and the mentor differ."
    if look.observed_on < since:
        return f"The last look is of {day_words(look.observed_on)}, more than {FRESH_WEEKS} weeks ago."
    reason = why_provisional(look)
    return f"The last look is provisional: {reason}." if reason else ""


def photo_url(animal_pk, view, back=""):
    """The page that takes this view, and the way back from it."""
    query = {"view": str(view), **({"back": back} if back else {})}
    return f"{reverse('photo-create', args=[animal_pk])}?{urlencode(query)}"


def in_words(rows):
    """'Photos are missing for A1 and A3; a look for A2.' or '' when nothing is."""
    photos = [row.animal for row in rows if row.wanted]
    looks = [row.animal for row in rows if row.look]
    parts = [f"photos for {_some(photos)}"] * bool(photos) + [f"a look for {_some(looks)}"] * bool(looks)
    return f"Still missing: {'; '.join(parts)}." if parts else ""


def _some(animals):
    return listed(animals) if len(animals) <= 5 else f"{len(animals)} animals"
