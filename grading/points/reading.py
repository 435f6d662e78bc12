"""Reads points sheets out of the database and puts them into words: three queries for a schedule, one for the lines."""

from collections import defaultdict
from dataclasses import dataclass, field

from grading.look_changes import STAGES
from grading.models import Basis, CoatStage, LookFinding, PointsLine, Position, ProfileFinding, WeightBand
from herds.units import weight_words

from .arithmetic import Band, Line, Place, Sum, Weighed, Weighing, add_up, weigh
from .questions import Behind, Said, halo, questions_of

COAT_TRAITS = {"coat_density", "coat_texture"}
HANDS_ON = 4
COLOUR_SECTIONS = {1, 2, 3}


def points_words(points):
    """'15' for 15.0, '14.5' as it is."""
    return f"{points:.1f}".removesuffix(".0")


@dataclass
class Schedule:
    """The positions of one edition with what stands behind each, and its weight table."""

    places: list[Place] = field(default_factory=list)
    bands: list[Band] = field(default_factory=list)
    traits: dict[int, list] = field(default_factory=dict)
    findings: dict[int, list] = field(default_factory=dict)

    @property
    def by_weight(self):
        """The position for weight; None when the schedule has none."""
        return next((place for place in self.places if place.by_weight), None)

    def place(self, code):
        """The position or part of that code; None when the schedule has no such."""
        return next((each for whole in self.places for each in (whole, *whole.parts) if each.code == code), None)


def schedules_of(profile_ids, *, with_basis=True):
    """The Schedule of each edition. Two queries, and one more with what stands behind the positions."""
    found = {pk: Schedule() for pk in profile_ids}
    parts = defaultdict(list)
    rows = list(Position.objects.filter(profile__in=found).order_by("position", "pk"))
    for row in rows:
        if row.parent_id:
            parts[row.parent_id].append(_place(row))
    for row in rows:
        if row.parent_id is None:
            found[row.profile_id].places.append(_place(row, parts[row.pk]))
    for band in WeightBand.objects.filter(profile__in=found).order_by("lowest_grams"):
        found[band.profile_id].bands.append(
            Band(band.lowest_grams, band.highest_grams, band.points, band.age_class_id, band.sex)
        )
    if with_basis:
        for row in Basis.objects.filter(position__profile__in=found).select_related("position", "trait", "finding"):
            schedule = found[row.position.profile_id]
            kind, what = ("traits", row.trait) if row.trait_id else ("findings", row.finding)
            getattr(schedule, kind).setdefault(row.position_id, []).append(what)
    return found


def schedule_of(profile_id):
    return schedules_of([profile_id])[profile_id]


def _place(row, parts=()):
    return Place(row.pk, row.code, row.name, row.points, row.floor, row.step, row.by_weight, tuple(parts))


@dataclass
class Row:
    """A line as a page shows it."""

    line: Line
    is_part: bool
    note: str
    faults: list
    questions: list

    @property
    def place(self):
        return self.line.place

    @property
    def given_words(self):
        """The points as they stand in their field; '' while there are none."""
        return "" if self.line.given is None else points_words(self.line.given)

    @property
    def is_typed(self):
        """True where points are typed: no parts, and not the weight."""
        return not self.place.parts and not self.place.by_weight

    @property
    def working(self):
        """'18 + 13 + 12 + 4' for a position with parts; '' for others."""
        return _sum_words(self.line.parts) if self.place.parts else ""

    @property
    def under_floor(self):
        """The neutral sentence about a floor; '' where there is nothing to say."""
        if not self.line.under_floor:
            return ""
        return f"Under the floor of {points_words(self.place.floor)}: the schedule does not place it."


class Points:
    """One look's points sheet with everything a page says of it.

    `look_sheet` is the LookSheet that the page read already; `reads_weight` and `reads_note` say what the member may.
    """

    def __init__(self, look, look_sheet, *, unit="", reads_weight=True, reads_note=True, schedule=None):
        self.look, self.look_sheet = look, look_sheet
        self.unit = unit if reads_weight else ""
        self.schedule = schedule or schedule_of(look.profile_id)
        self.lines = {line.position_id: line for line in PointsLine.objects.filter(sheet=look.pk)}
        self.sheet = getattr(look, "points_sheet", None)
        self.note = self.sheet.note if self.sheet and reads_note else ""
        self.weighed = weighed(look, self.schedule)
        self.sum = add_up(self.schedule.places, given_in(self.schedule, self.lines.values(), self.weighed))
        self.behind = {key: self._behind(key) for key in self._described_keys()}
        self.halo = halo(self.sum.lines, self.behind)
        self.rows = list(self._rows(self.sum.lines, reads_note))

    def row(self, code):
        return next(row for row in self.rows if row.place.code == code)

    @property
    def not_judged(self):
        """The reasons why the schedule does not judge the animal; empty when it does."""
        return not_judged(self._disqualifying(), self.weighed, self.look.grams, self.unit)

    @property
    def total_words(self):
        """'92.5 of 100', or what it is so far."""
        return total_words(self.sum)

    @property
    def working(self):
        """'47 + 16 + 13 + 9': what the total is the sum of; an open position stands as '?'."""
        return _sum_words(self.sum.lines)

    @property
    def weight_words(self):
        """Where the points for weight come from, in a sentence."""
        return weighing_words(self.weighed, self.look.grams, self.unit)

    @property
    def questions(self):
        """How many questions the sheet raises."""
        return sum(len(row.questions) for row in self.rows) + bool(self.halo)

    def _rows(self, lines, reads_note, is_part=False):
        for line in lines:
            key = line.place.key
            yield Row(
                line,
                is_part,
                self.lines[key].note if reads_note and key in self.lines else "",
                self._faults(key),
                questions_of(line, self.behind.get(key, Behind()), self._not_prime()),
            )
            yield from self._rows(line.parts, reads_note, is_part=True)

    def _described_keys(self):
        return {*self.schedule.traits, *self.schedule.findings}

    def _behind(self, key):
        """What the look says of the traits and findings behind a position."""
        traits, rows = self.schedule.traits.get(key, []), {row.trait_id: row for row in self.look_sheet.rows}
        said = [
            Said(trait.code, trait.name.lower() + (f" at the {site}" if site else ""), answer.step, goal)
            for trait in traits
            if (row := rows.get(trait.pk)) and (goal := row.goal_for(self.look_sheet.age_class))
            for site in trait.sites or [""]
            if (answer := self.look_sheet.answers.get((trait.pk, site))) and answer.step is not None
        ]
        coat = sum(trait.code in COAT_TRAITS for trait in traits)
        hands = sum(trait.section == HANDS_ON for trait in traits) - coat
        colour = sum(trait.section in COLOUR_SECTIONS for trait in traits)
        half = len(traits) / 2
        return Behind(
            said=tuple(said),
            asked=len(traits),
            seen=tuple(name for name, effect in self._faults(key) if effect != ProfileFinding.Effect.NOTE),
            coat=coat > half,
            body=hands > half,
            colour=colour > half,
        )

    def _faults(self, key):
        """(name, effect) of the findings behind a position that were seen."""
        kinds = {row.kind_id: row for row in self.look_sheet.kinds}
        seen = LookFinding.State.SEEN
        return [
            (finding.name, kinds[finding.pk].effect)
            for finding in self.schedule.findings.get(key, [])
            if finding.pk in kinds and (found := self.look_sheet.found.get(finding.pk)) and found.state == seen
        ]

    def _disqualifying(self):
        found, disqualifies = self.look_sheet.found, ProfileFinding.Effect.DISQUALIFIES
        return [
            row.kind.name
            for row in self.look_sheet.kinds
            if row.effect == disqualifies
            and row.kind_id in found
            and found[row.kind_id].state == LookFinding.State.SEEN
        ]

    def _not_prime(self):
        stage = self.look.coat_stage
        return "" if not stage or stage == CoatStage.PRIME else STAGES[stage]


def _sum_words(lines):
    return " + ".join("?" if line.given is None else points_words(line.given) for line in lines)


def weighed(look, schedule):
    """What the schedule's weight table says of the look's weight; no table where no position asks for it."""
    if schedule.by_weight is None:
        return Weighed(Weighing.NO_TABLE)
    return weigh(schedule.bands, grams=look.grams, age_class=look.age_class_id, sex=look.animal.sex)


def given_in(schedule, lines, weighed_as):
    """{position's key: points} of the lines, and of the weight."""
    given = {line.position_id: line.points for line in lines if line.points is not None}
    if schedule.by_weight and weighed_as.points is not None:
        given[schedule.by_weight.key] = weighed_as.points
    return given


def not_judged(disqualifying, weighed_as, grams, unit):
    """Sentences; the weight itself is told only with a `unit`, to those who may read it."""
    reasons = [f"{name}: this disqualifies in the schedule." for name in disqualifying]
    if weighed_as.is_outside:
        reasons.append(weighing_words(weighed_as, grams, unit))
    return reasons


def weighing_words(weighed_as, grams, unit):
    """Where the points for weight come from; without a `unit` no weight is told."""
    if weighed_as.weighing is Weighing.NO_TABLE:
        return "The schedule has no weight table for this animal's age and sex, so this position stays open."
    limits = ""
    if unit:
        limits = f", {weight_words(weighed_as.lowest, unit)}"
        limits += f" to {weight_words(weighed_as.highest, unit)}" if weighed_as.highest else " and over"
    if weighed_as.weighing is Weighing.NOT_WEIGHED:
        return f"Not weighed yet. The weight table{limits} gives the points."
    weight = f"Its weight of {weight_words(grams, unit)}" if unit else "Its weight"
    if weighed_as.is_outside:
        return f"{weight} lies outside the weight table{limits}, so the schedule does not judge it."
    return f"{weight} has {points_words(weighed_as.points)} points in the weight table."


def total_words(added: Sum):
    """'92.5 of 100'; while positions are open, how far it has come."""
    if added.still_open:
        return f"{points_words(added.total)} of {points_words(added.possible_so_far)} so far"
    return f"{points_words(added.total)} of {points_words(added.possible)}"


def with_points(looks):
    """Give each look `points_words` and `points_not_judged` for a list; looks come with their animal and points_sheet.

    Three queries when one of them has a sheet, however many looks; none otherwise.
    """
    looks = list(looks)
    with_sheet = {look.pk for look in looks if hasattr(look, "points_sheet")}
    schedules, lines = {}, defaultdict(list)
    if with_sheet:
        schedules = schedules_of({look.profile_id for look in looks if look.pk in with_sheet}, with_basis=False)
        for line in PointsLine.objects.filter(sheet__in=with_sheet):
            lines[line.sheet_id].append(line)
    for look in looks:
        look.points_words, look.points_not_judged = "", False
        if look.pk in with_sheet:
            schedule = schedules[look.profile_id]
            on_scale = weighed(look, schedule)
            added = add_up(schedule.places, given_in(schedule, lines[look.pk], on_scale))
            look.points_words = total_words(added)
            look.points_not_judged = look.disqualified or on_scale.is_outside
    return looks
