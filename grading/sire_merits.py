"""A sire's merits as his page shows them: the plot of surface against undercolor, tables, and how his looks add up."""

from dataclasses import dataclass, field
from typing import Any

from django.contrib.postgres.aggregates import CovarPop
from django.core.cache import cache
from django.db.models import Avg, Count, OuterRef, Subquery, Variance

from grading import merit_card, merit_charts, merit_words, merits, taken_away, taken_words, twoway
from grading.figures import signed
from grading.level_words import grader_names, graders_of
from grading.models import Merit
from herds.models import Animal
from herds.words import count_words, day_words

MOST_DOTS = 150
PLOT_NOTE = (
    "The cross is his merit, the ring round it holds his true merit in 95 of 100 cases. A dot is the merit of one of "
    "his progeny, told from looks at it and at its relatives."
)


@dataclass
class MeritPart:
    """What the page says of a sire's merits; `refusal` says why there are none."""

    refusal: str = ""
    run: Any = None
    about: str = ""
    coat: dict | None = None
    leading: list = field(default_factory=list)
    others: list = field(default_factory=list)
    svg: str = ""
    table: list = field(default_factory=list)
    note: str = ""
    genetic: str = ""
    columns = ("Animal", "Surface shade", "Undercolor")
    what_it_is = merit_words.WHAT_IT_IS


def part_of(sire, member, club, standing, goals):
    """The MeritPart of a sire for a member. goals : {trait key: (low, high)}. Six queries at most."""
    if standing is None:
        return MeritPart(refusal=merit_words.NO_RUN)
    part = MeritPart(run=standing.run, about=about_of(standing), genetic=genetic_words(standing))
    told = merit_card.read(sire, member)
    if not told:
        part.refusal = merit_card.why_none(sire)
    found = {each.trait.pk: merit for each, merit in told}
    rows = [merit_words.row_of(each, merit, goals.get(each.trait.pk)) for each, merit in told]
    part.leading = [row for row in rows if row["trait"].summary in ("surface", "undercolor")]
    part.others = [row for row in rows if row not in part.leading]
    if standing.surface is None or standing.undercolor is None:
        return part
    surface, undercolor = (found.get(each.trait_id) for each in (standing.surface, standing.undercolor))
    if surface or undercolor:
        part.coat = merit_words.coat_of(surface, undercolor)
    _draw(part, sire, member, club, standing, surface, undercolor, goals)
    return part


def _place(trait):
    return trait.section, trait.position, trait.code


def about_of(standing):
    """'From the evaluation of 3 May 2026: 3,095 looks at 861 animals by 9 graders.'"""
    leading = standing.surface or standing.undercolor or next(iter(standing.traits.values()))
    counts = [count_words(leading.looks, "look"), count_words(leading.animals, "animal")]
    return (
        f"From the evaluation of {day_words(standing.run.ended_at.date())}: {counts[0]} at {counts[1]} by "
        f"{count_words(leading.graders, 'grader')}."
    )


def genetic_words(standing):
    """What brighter goes with in this breed, or an empty string where the run could not tell."""
    if standing.genetic is None:
        return ""
    value, low, high = standing.genetic
    if low is None or high is None:
        return ""
    if high < 0:
        said = "In the club's animals what breeds brighter tends to breed paler underneath"
    elif low > 0:
        said = "In the club's animals what breeds brighter tends to breed darker underneath"
    else:
        said = "Whether what breeds brighter also breeds paler underneath cannot be told in the club's animals yet"
    return f"{said} (genetic correlation {signed(value)}, {signed(low)} to {signed(high)})."


def _draw(part, sire, member, club, standing, surface, undercolor, goals):
    """The plot with the sire, his progeny and the club behind, and the same numbers as rows."""
    keys = standing.surface.trait_id, standing.undercolor.trait_id
    found = merits.read(standing, sire.sired.values("pk"), member, set(keys))
    both = {animal: [each[key] for key in keys] for animal, each in found.items() if len(each) == 2}
    names = {
        pk: " ".join(filter(None, (mark, name))) or f"animal {pk}"
        for pk, mark, name in Animal.objects.filter(pk__in=both).by_mark().values_list("pk", "mark_text", "name")
    }
    dots = [_dot(names[animal], *both[animal]) for animal in names]
    own = []
    if surface and undercolor:
        covariance = merits.pair_covariance(standing, surface, undercolor)
        label = f"{sire}: surface {surface.step:.1f}, undercolor {undercolor.step:.1f}"
        own = [{"label": label, "mean": (surface.step, undercolor.step), "covariance": covariance}]
    if not own and not dots:
        return
    spread = club_spread(standing, club)
    goal = tuple(goals.get(key) for key in keys)
    part.svg = merit_charts.merits_two_way(
        own, dots=dots[:: 1 + len(dots) // MOST_DOTS], club=spread, goal=goal if all(goal) else None
    )
    part.note = PLOT_NOTE if own else "A dot is the merit of one of his progeny."
    if spread:
        part.note += (
            f" The dotted rings hold half and 95 of 100 of the club's animals ({spread['animals']:,} merits); merits "
            "lie closer together than the truth, the less is known of them."
        )
    part.table = [
        [name, *(f"{merit_words.step_words(each)} ({merit_words.interval_words(each)})" for each in pair)]
        for name, pair in ([(str(sire), (surface, undercolor))] if own else [])
        + [(names[animal], both[animal]) for animal in list(names)[:MOST_DOTS]]
    ]
    if len(names) > MOST_DOTS:
        part.note += f" {len(names):,} of his progeny have merits; the table holds the first {MOST_DOTS} by mark."


def _dot(name, surface, undercolor):
    return {
        "surface": surface.step,
        "undercolor": undercolor.step,
        "label": f"{name}: surface {surface.step:.1f}, undercolor {undercolor.step:.1f}",
    }


def club_spread(standing, club):
    """How the merits of the club's own animals lie: mean (2,), covariance (2, 2), animals; None while they are few.

    It is worked out once a run and kept; the rings are the same for everybody.
    """
    pair = standing.surface, standing.undercolor
    key = f"merit-rings-{pair[0].pk}-{pair[1].pk}"
    kept = cache.get(key)
    if kept is None:
        kept = _spread(*pair) or {}
        cache.set(key, kept, None)
    if not kept or twoway.held_back(kept["animals"], kept["herds"], club):
        return None
    at = merits.reference(pair[0]), merits.reference(pair[1])
    return {**kept, "mean": (kept["mean"][0] + at[0], kept["mean"][1] + at[1])}


def _spread(surface, undercolor):
    other = Merit.objects.filter(evaluation=undercolor, animal=OuterRef("animal")).values("value")[:1]
    rows = Merit.objects.filter(evaluation=surface, animal__herd__isnull=False).annotate(under=Subquery(other))
    found = rows.filter(under__isnull=False).aggregate(
        n=Count("pk"),
        herds=Count("animal__herd", distinct=True),
        surface=Avg("value"),
        undercolor=Avg("under"),
        along=Variance("value"),
        up=Variance("under"),
        across=CovarPop("value", "under"),
    )
    if found["n"] < 3:
        return None
    return {
        "animals": found["n"],
        "herds": found["herds"],
        "mean": (found["surface"], found["undercolor"]),
        "covariance": ((found["along"], found["across"]), (found["across"], found["up"])),
    }


# --- what the model took away ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TakenPart:
    """A TakenAway in words and rows: of surface shade and undercolor in full, of another trait as one line."""

    found: Any
    words: str
    rows: list
    left: list


@dataclass(frozen=True)
class Taken:
    """leading and others : lists of TakenPart; left_out : looks newer than the run; held : traits held back."""

    leading: list
    others: list
    left_out: int
    held: int


def taken_of(sire, member, club, standing, looks, everybody):
    """The Taken of a sire over a queryset of looks at his progeny. Five queries.

    everybody : whether the member may see each of these looks; else traits told of few are held back.
    """
    rows = taken_away.read_looks(looks)
    steps = taken_away.read_steps(rows, list(standing.traits)) if len(rows) else {}
    parents = taken_away.read_parents(standing, sire, rows, member, club)
    tables = [each.fixed.get("grader and year") or {} for each in standing.traits.values()]
    names = grader_names(member, set().union(*map(graders_of, tables)) & set(rows.observer.tolist()))
    found = [
        taken_away.taken_away(each, rows, steps[key], sire, parents, names)
        for key, each in sorted(standing.traits.items(), key=lambda pair: _place(pair[1].trait))
        if key in steps and each.mean is not None
    ]
    told = [each for each in found if each is not None]
    found = [each for each in told if everybody or not twoway.held_back(each.kits, each.herds, club)]
    leading = [each for each in found if each.trait.summary in ("surface", "undercolor")]
    return Taken(
        [_in_full(each) for each in leading],
        [TakenPart(each, "", [], []) for each in found if each not in leading],
        max((each.left_out for each in leading), default=0),
        len(told) - len(found),
    )


def _in_full(found):
    rows = [
        {"title": part.title, "counts": taken_words.counts_of(part), "steps": signed(part.steps), "part": part}
        for part in found.parts
    ]
    left = []
    if found.own is not None:
        interval = f"{signed(found.own_low)} to {signed(found.own_high)} in 95 of 100"
        left.append(("from him: half his merit beside the average animal", interval, signed(found.own)))
    if found.dams is not None:
        counts = count_words(found.dams_count, "dam")
        if found.dams_unknown:
            counts += f"; {count_words(found.dams_unknown, 'look')} without a dam's merit"
        left.append(("from the dams: half of theirs", counts, signed(found.dams)))
    what = "neither: the draw of the genes, rearing, what looks miss" if left else "the kits' own"
    left.append((what, "", signed(found.rest)))
    return TakenPart(found, taken_words.sentences(found), rows, left)
