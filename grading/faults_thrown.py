"""Faults and white spots in a sire's progeny: in how many of those looked at for them, beside the whole club."""

from dataclasses import dataclass

from django.db.models import Count, Q

from grading import standing, twoway
from grading.figures import percents
from grading.models import FindingKind, LookFinding, ProfileFinding
from grading.shares import wilson

FIRST = "white_spot"
BRED_SECTIONS = (1, 2, 3, 4)  # coat and build; the fifth holds the mark in the ear, stain and the like


@dataclass(frozen=True)
class Share:
    """Animals in which something was seen, of those that were looked at for it; Wilson's 95 % interval."""

    seen: int
    checked: int
    herds: int

    @property
    def interval(self):
        """(low, high), 0 to 1."""
        return wilson(self.seen, self.checked)

    @property
    def words(self):
        low, high = self.interval
        return f"{self.seen} of {self.checked} ({percents(low, high)})"


@dataclass(frozen=True)
class Line:
    """A finding: what the schedule makes of it, his share in words or why not, and the club's."""

    kind: FindingKind
    effect: str
    his: str
    club: str


def shares_of(looks):
    """{kind key: Share} over a queryset of looks, each animal once. One query."""
    told = LookFinding.objects.filter(look__in=looks.order_by().values("pk"))
    told = told.exclude(state=LookFinding.State.NOT_CHECKED).order_by().values("kind")
    rows = told.annotate(
        checked=Count("look__animal", distinct=True),
        seen=Count("look__animal", distinct=True, filter=Q(state=LookFinding.State.SEEN)),
        herds=Count("look__herd", distinct=True),
    )
    return {row["kind"]: Share(row["seen"], row["checked"], row["herds"]) for row in rows}


def of_breed(breed_id):
    """The shares in a whole breed, as grading/standing.py keeps them."""
    return standing.kept("faults", breed_id, read_breed)


def read_breed(breed_id):
    """(looks of the breed, {kind key: Share}) read from the database now."""
    looks = twoway.current_looks(breed_id)
    return looks.count(), shares_of(looks)


def lines_of(sire, looks, profile, club, everybody):
    """Lines of what is a fault in the profile in force, white spots first. Four queries at most.

    everybody : whether the member may see each of these looks; else a finding looked for in few is held back.
    """
    his, breed = shares_of(looks), of_breed(sire.breed_id)
    kinds = FindingKind.objects.filter(section__in=BRED_SECTIONS)
    effects: dict = {}
    if profile is not None:
        rows = ProfileFinding.objects.filter(profile=profile).exclude(effect=ProfileFinding.Effect.NOTE)
        effects = {row.kind_id: row.get_effect_display() for row in rows}
        kinds = kinds.filter(Q(pk__in=effects) | Q(code=FIRST))
    ordered = sorted(kinds, key=lambda kind: kind.code != FIRST)
    return [
        Line(kind, effects.get(kind.pk, ""), _his(his.get(kind.pk), club, everybody), _club(breed.get(kind.pk), club))
        for kind in ordered
        if kind.code == FIRST or kind.pk in his
    ]


def _his(share, club, everybody):
    if share is None:
        return "not looked for yet"
    if not everybody and twoway.held_back(share.checked, share.herds, club):
        return "held back: looked for in few"
    return share.words


def _club(share, club):
    if share is None or twoway.held_back(share.checked, share.herds, club):
        return "too few to say"
    return share.words
