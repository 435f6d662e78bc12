"""Merits of what is compared: of a sire or an animal its own, of a group those of its animals that were looked at.

Single merits follow Merit.visible_to. A group counts merits of herds that share none only where it may count their
looks too, so that nobody can tell one hidden animal from two groups; lines, herds and animals never do.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.db.models import Q
from scipy.special import ndtr

from clubsite.columns import array_text
from grading import merit_charts, merit_words, merits, sire_merits, trade_off, twoway
from grading.figures import WITHIN, signed
from herds.models import Herd
from herds.words import count_words
from pedigrees.words import percent

from .sums import rows_of

OWN = ("animals", "sires")  # kinds whose things are animals with merits of their own
FEWEST_TREND = 8  # animals of three birth years: under so many no trend is told
DRAWN = 500  # animals of a thing whose merits are summed; their mean is known to a twentieth of their spread


@dataclass(frozen=True)
class Group:
    """Merits of a thing's animals for a trait: how many of how many herds, mean step and spread (None for one).

    error : standard error of the mean, from the merits' spread and what is not known of each, root((sd^2 + mean PEV) /
    n); animals' errors are taken as independent, which those of brothers and sisters are not quite.
    drawn_from : of how many animals these were drawn; 0 where all are counted.
    """

    animals: int
    herds: int
    step: float
    sd: float | None
    error: float
    slope: float | None = None
    slope_low: float | None = None
    slope_high: float | None = None
    drawn_from: int = 0

    @property
    def low(self):
        return self.step - WITHIN * self.error

    @property
    def high(self):
        return self.step + WITHIN * self.error


@dataclass
class MeritCell:
    """A trait of a thing: its own merit, its group's, or why there is none."""

    thing: Any
    own: Any = None
    group: Group | None = None
    why: str = ""


@dataclass
class MeritLine:
    trait: Any
    goal: tuple | None
    cells: list


@dataclass
class MeritPage:
    """What the comparison says of merits; `refusal` is a sentence where it says nothing."""

    refusal: str = ""
    about: str = ""
    lines: list = field(default_factory=list)
    inbreeding: list = field(default_factory=list)
    trends: list = field(default_factory=list)
    chances: list = field(default_factory=list)
    drawn: list = field(default_factory=list)
    svg: str = ""
    rows: list = field(default_factory=list)
    note: str = ""
    columns = ("Compared", "Surface shade", "Undercolor")


def merit_page(found, member, club):
    """The MeritPage of a Compared. Eight queries at most, however many animals stand behind it."""
    asked = found.asked
    if asked.kind.code == "years":
        return None  # the years' own pages and report hold their trends
    standing = merits.current(asked.breeds[0]) if len(asked.breeds) == 1 else None
    if standing is None:
        several = "Merits of different breeds do not stand on one scale."
        return MeritPage(refusal=several if len(asked.breeds) > 1 else merit_words.NO_RUN)
    part = MeritPage(about=sire_merits.about_of(standing))
    single = asked.kind.code in OWN
    own = merits.read(standing, asked.keys, member) if single else {}
    whole = [each.thing.key for each in found.standings if each.whole]
    groups = {} if asked.kind.code == "animals" else group_sums(found.chosen, standing, member, whole)
    goals = goals_of(found)
    held = too_few(asked, club)
    for evaluation in sorted(standing.traits.values(), key=_place):
        trait = evaluation.trait
        cells = [_cell(each, trait, own, groups, club, single, held) for each in found.standings]
        if any(cell.own or cell.group for cell in cells):
            part.lines.append(MeritLine(trait, goals.get(trait.pk), cells))
    part.inbreeding = inbreeding_of(found)
    part.trends = trends_of(part.lines) if not single else []
    part.drawn = drawn_words(part.lines)
    part.chances = chances_of(part.lines) if single and len(asked.things) == 2 else []
    _draw(part, found, standing, club, single)
    if not part.lines:
        part.refusal = "No merit of these is shared with you, or none has been estimated yet."
    return part


def too_few(asked, club):
    """Keys of sires that have too few progeny looked at to be ranked, whichever looks the comparison counts."""
    if asked.kind.code != "sires":
        return set()
    counts = trade_off.progeny_of(asked.keys)
    return {key for key in asked.keys if twoway.not_ranked(*counts.get(key, (0, 0)), club)}


def _place(evaluation):
    lead = {"surface": 0, "undercolor": 1, "reach": 2}
    trait = evaluation.trait
    return lead.get(trait.summary, 3), trait.section, trait.position, trait.code


def _cell(standing, trait, own, groups, club, single, held):
    """A sire that is too few to rank shows no merit of his own, as everywhere; a group of few is held back by trait."""
    cell = MeritCell(standing.thing)
    if single:
        cell.own = own.get(standing.thing.key, {}).get(trait.pk)
        if standing.thing.key in held:
            cell.own, cell.why = None, "not ranked: too few"
        elif cell.own is None:
            cell.why = "not shared"
    group = groups.get((standing.thing.key, trait.pk))
    if group is not None and standing.whole and twoway.held_back(group.animals, group.herds, club):
        group, cell.why = None, cell.why or "held back: too few"
    cell.group = group
    return cell


def goals_of(found):
    """{trait key: (low, high)}; merits are of grown animals, so without the seniors' leeway. One query."""
    if found.profile is None:
        return {}
    return {row.trait_id: row.goal_for("") for row in found.profile.traits.all()}


def open_to(member):
    """Keys of herds whose merits the member may read one by one: as Merit.visible_to."""
    kept = Herd.objects.kept_by(member).values("pk")
    granted = Herd.objects.granted_to(member).values("pk")
    herds = Herd.objects.filter(Q(pk__in=kept) | Q(pk__in=granted) | Q(shares_merits=True))
    return list(herds.values_list("pk", flat=True))


def drawn(chosen, member, whole):
    """({key of a thing: bool (a,), which of its animals are counted}, {key: of how many animals some are drawn}).

    Counted are animals that were looked at and whose merits the member may read, or any of a thing in `whole`; of more
    than DRAWN about so many, drawn by their lots. Two queries.
    """
    animals, counted, drawn_from = chosen.animals, {}, {}
    may = (animals.herd < 0) | animals.stand_in(open_to(member))
    looked = looked_at(chosen, may)
    for key in chosen.keys:
        mine = animals.of[key] & looked & (may | (key in whole))
        many = int(np.count_nonzero(mine))
        counted[key] = mine & animals.drawn(min(1, DRAWN / max(1, many)))
        if many > DRAWN:
            drawn_from[key] = many
    return counted, drawn_from


def looked_at(chosen, may):
    """Which of the animals whose looks were read, or of `may`, both bool (a,), have a current look. One query.

    A herd may share its merits and not its looks.
    """
    looked = chosen.looks.many() > 0
    unread = may & ~looked
    found = rows_of(
        """SELECT m.row FROM unnest(%s::bigint[], %s::bigint[]) m (animal_id, row)
        WHERE EXISTS (SELECT 1 FROM grading_look l WHERE l.animal_id = m.animal_id AND l.current)""",
        [array_text(chosen.animals.animal[unread]), array_text(np.flatnonzero(unread))],
    )
    looked[[row["row"] for row in found]] = True
    return looked


def group_sums(chosen, standing, member, whole):
    """{(key, trait key): Group} of merits of animals that were looked at; of many some are drawn. Three queries."""
    counted, drawn_from = drawn(chosen, member, whole)
    at = {each.pk: (trait, merits.reference(each)) for trait, each in standing.traits.items()}
    # OFFSET 0 has each animal's merits looked up by index; left to choose, PostgreSQL reads those of the whole club.
    rows = rows_of(
        """
        WITH graded AS MATERIALIZED (
            SELECT m.key, m.animal_id, a.herd_id, extract(year FROM a.born_on)::float8 AS born
            FROM unnest(%s::bigint[], %s::bigint[]) m (key, animal_id) JOIN herds_animal a ON a.id = m.animal_id)
        SELECT g.key, e.evaluation_id, count(*) AS animals, count(DISTINCT g.herd_id) AS herds, avg(e.value) AS mean,
               avg(e.reliability) AS reliability,
               stddev_samp(e.value) AS sd, regr_slope(e.value, g.born) AS slope, count(DISTINCT g.born) AS years,
               regr_count(e.value, g.born) AS n, regr_sxx(e.value, g.born) AS sxx, regr_syy(e.value, g.born) AS syy,
               regr_sxy(e.value, g.born) AS sxy
        FROM graded g CROSS JOIN LATERAL (
            SELECT * FROM grading_merit e WHERE e.animal_id = g.animal_id AND e.evaluation_id = ANY (%s) OFFSET 0) e
        GROUP BY g.key, e.evaluation_id
        """,
        [*chosen.animals.texts(counted), list(at)],
    )
    found = {}
    for row in rows:
        trait, reference = at[row["evaluation_id"]]
        genetic = standing.traits[trait].variances.get("animal") or 0.0
        spread = (row["sd"] or 0.0) ** 2 + (1 - row["reliability"]) * genetic
        error = float(np.sqrt(spread / row["animals"]))
        step = reference + row["mean"]
        found[row["key"], trait] = Group(
            row["animals"], row["herds"], step, row["sd"], error, *slope_of(row), drawn_from.get(row["key"], 0)
        )
    return found


def slope_of(row):
    """(slope, low, high) in steps a birth year by least squares over animals; Nones where too little stands behind it.

    The interval is that of the scatter of merits; that merits are estimates themselves is not in it.
    """
    if row["n"] < FEWEST_TREND or row["years"] < 3 or not row["sxx"]:
        return None, None, None
    rest = max(row["syy"] - row["sxy"] ** 2 / row["sxx"], 0.0) / (row["n"] - 2)
    error = float(np.sqrt(rest / row["sxx"]))
    return row["slope"], row["slope"] - WITHIN * error, row["slope"] + WITHIN * error


def drawn_words(lines):
    """Sentences on the things of which not all animals' merits are counted."""
    drawn_from = {
        cell.thing.name: cell.group.drawn_from
        for line in lines for cell in line.cells if cell.group and cell.group.drawn_from
    }  # fmt: skip
    return [
        f"Of the {number:,} animals of {name} that were looked at, some {DRAWN} are drawn evenly for these merits."
        for name, number in drawn_from.items()
    ]


def inbreeding_of(found):
    """Sentences on the stored inbreeding of each thing's animals, which every member may know."""
    animals, said = found.chosen.animals, []
    for each in found.standings:
        values = animals.inbreeding[animals.of[each.thing.key] & ~np.isnan(animals.inbreeding)]
        if len(values) == 1:
            said.append(f"{each.thing.letter} {percent(values[0])}")
        elif len(values):
            said.append(
                f"{each.thing.letter} {percent(values.mean())} on average and {percent(values.max())} at most, of "
                f"{count_words(len(values), 'animal')}"
            )
    return said


def trends_of(lines):
    """[(trait, [(thing, sentence)])] of surface shade and undercolor by birth year, for groups."""
    found = []
    for line in lines:
        if line.trait.summary in ("surface", "undercolor"):
            told = [(cell.thing, trend_words(cell.group)) for cell in line.cells if cell.group]
            if told:
                found.append((line.trait, told))
    return found


def trend_words(group):
    if group.slope is None:
        return f"too few birth years among {group.animals} animals to tell a trend"
    if abs(group.slope) < 0.005:
        return f"level by birth year ({signed(group.slope_low)} to {signed(group.slope_high)} steps a year)"
    way = "rising" if group.slope > 0 else "falling"
    sure = "" if group.slope_low > 0 or group.slope_high < 0 else ", which may be chance"
    interval = f"{signed(group.slope_low)} to {signed(group.slope_high)}"
    return f"{way} by {abs(group.slope):.2f} steps a birth year ({interval}){sure}"


def chances_of(lines):
    """Sentences on which of two is likelier to have the higher true merit, in surface shade and undercolor."""
    words = {"surface": ("brighter", "darker"), "undercolor": ("darker underneath", "paler underneath")}
    found = []
    for line in lines:
        one, other = (cell.own for cell in line.cells)
        if line.trait.summary not in words or one is None or other is None:
            continue
        error = float(np.hypot(one.error, other.error))
        chance = float(ndtr((one.step - other.step) / error)) if error > 0 else 0.5
        first, second = (cell.thing.letter for cell in line.cells)
        ahead, behind = (first, second) if chance >= 0.5 else (second, first)
        found.append(
            f"By merit {ahead} is {words[line.trait.summary][0]} than {behind} in "
            f"{merit_words.cases(max(chance, 1 - chance))} cases."
        )
    return found


def _draw(part, found, standing, club, single):
    """The plot of merits: each thing a cross with a ring, the club's rings behind."""
    by_summary = {line.trait.summary: line for line in part.lines if line.trait.summary}
    if "surface" not in by_summary or "undercolor" not in by_summary:
        return
    own = []
    for one, other in zip(by_summary["surface"].cells, by_summary["undercolor"].cells, strict=True):
        if single and one.own and other.own:
            mean, covariance = (one.own.step, other.own.step), merits.pair_covariance(standing, one.own, other.own)
        elif not single and one.group and other.group and one.group.sd and other.group.sd:
            between = standing.correlation * one.group.sd * other.group.sd
            mean = one.group.step, other.group.step
            covariance = [[one.group.sd**2, between], [between, other.group.sd**2]]
        else:
            continue
        own.append({"label": one.thing.letter, "mean": mean, "covariance": covariance})
        part.rows.append([f"{one.thing.letter} {one.thing.name}", *(f"{value:.1f}" for value in mean)])
    if not own:
        return
    goal = tuple(by_summary[name].goal for name in ("surface", "undercolor"))
    spread = sire_merits.club_spread(standing, club)
    part.svg = merit_charts.merits_two_way(own, club=spread, goal=goal if all(goal) else None, named=True)
    part.note = (
        "A cross is a merit, the ring round it holds the true merit in 95 of 100 cases."
        if single
        else "A cross is the mean merit of a group, the ring holds 95 of 100 of its animals' merits."
    )
    if spread:
        part.note += " The dotted rings hold half and 95 of 100 of the club's animals."
