"""Reads what the page of a whole herd shows, in a fixed number of queries, however many animals stand there."""

from collections import defaultdict
from dataclasses import dataclass

from django.db import connection
from django.db.models import Count
from django.utils import timezone

from grading import load, twoway
from grading.barn import words
from grading.barn.shared import Part, standing_of
from grading.faults_thrown import shares_of
from grading.groups import spread
from grading.models import Look, ProfileFinding, Review, ReviewAnimal, Trait
from herds.models import Animal, Breed, Grant, Herd, Sex
from pedigrees import load as pedigree
from pedigrees.models import Inbreeding

MOST_PAIRED = 60  # does and bucks for the mean of all matings; the youngest are taken
CLOSEST = 5


@dataclass(frozen=True)
class Door:
    """How a member comes to read the herd: as a keeper, or by a running grant (which may be theirs to propose in)."""

    herd: Herd
    kept: bool
    grant: Grant | None


def door_of(member, slug):
    """The Door to a herd, or None where the member may not know of this page."""
    herd = Herd.objects.visible_to(member).filter(slug=slug).first()
    if herd is None:
        return None
    if Herd.objects.kept_by(member).filter(pk=herd.pk).exists():
        return Door(herd, True, None)
    grant = Grant.objects.running().filter(herd=herd, mentor=member.pk).first()
    return Door(herd, False, grant) if grant else None


def breeds_of(herd):
    """The breeds that stand in the herd, the most numerous first."""
    kept = Animal.objects.filter(herd=herd).here()
    return list(
        Breed.objects.filter(animals__in=kept).annotate(size=Count("animals")).order_by("-size", "name")
    )  # fmt: skip


def blind_animals(member, herd=None):
    """Animals (of the herd) that the member is to grade blind in a review and has not graded yet: their keys."""
    reviews = Review.objects.for_mentor(member).open()
    reviews = reviews.filter(herd=herd) if herd else reviews
    rows = ReviewAnimal.objects.filter(review__in=reviews, graded_at__isnull=True)
    return list(rows.values_list("animal", flat=True))


def page_of(member, door, breed):
    """The context of the page for one breed of the herd."""
    herd = door.herd
    profile = twoway.club_profile(breed.pk, timezone.localdate())
    animals = list(Animal.objects.filter(herd=herd, breed=breed).here().select_related("sire__herd").by_mark())
    hidden = set() if door.kept else set(blind_animals(member, herd))
    told = [animal for animal in animals if animal.pk not in hidden]
    looks = Look.objects.visible_to(member).current().filter(animal__in=[animal.pk for animal in told])
    names = {animal.pk: words.short(animal) for animal in told}
    panels = twoway.panels_of(
        load.look_rows(looks), load.cells_of(breed.pk), goal=twoway.goal_of(profile), names=names,
        label=str(herd), progeny_word="animals",
    )  # fmt: skip
    raw = panels[0].group
    return {
        "herd": herd,
        "door": door,
        "breed": breed,
        "profile": profile,
        "here": len(animals),
        "blind": len(animals) - len(told),
        "panels": panels,
        "figures": [(panel.title, twoway.figures(panel.group)) for panel in panels],
        "group": raw,
        "distributions": twoway.distributions(looks, profile),
        **shared_by_most(looks, profile),
        "inbreeding": inbreeding_of(animals),
        "sires": sires_of(animals, raw.animal_values),
    }


def counted_by_goal(looks, profile):
    """{trait key: {(step, goal): animals}} from the last look of each animal, with the goal of its age class then."""
    chosen, params = looks.order_by().values("pk").query.sql_with_params()
    query = f"""
        WITH last AS (
            SELECT DISTINCT ON (animal_id) id, age_class_id FROM grading_look WHERE id IN ({chosen})
            ORDER BY animal_id, observed_on DESC, id DESC),
        graded AS (
            SELECT n.trait_id, coalesce(c.code, '') AS age, n.look_id, round(avg(n.step))::int AS step
            FROM grading_answer n JOIN last ON last.id = n.look_id
            LEFT JOIN grading_ageclass c ON c.id = last.age_class_id
            WHERE n.step IS NOT NULL GROUP BY n.trait_id, c.code, n.look_id)
        SELECT trait_id, age, step, count(*) FROM graded GROUP BY trait_id, age, step
    """  # noqa: S608 - only Django's compiled query is put in
    goals = {row.trait_id: row for row in profile.traits.all()}
    found: dict = defaultdict(lambda: defaultdict(int))
    with connection.cursor() as cursor:
        cursor.execute(query, params)
        for trait, age, step, count in cursor.fetchall():
            goal = goals[trait].goal_for(age) if trait in goals else None
            if goal:
                found[trait][(step, goal)] += count
    return found


def shared_by_most(looks, profile):
    """Strengths, faults, and what cannot be said yet: sentences with counts and intervals. Surface stands with
    undercolor in one sentence of its own."""
    if profile is None:
        return {"pair": None, "strengths": [], "faults": [], "undecided": [], "findings": []}
    counted = counted_by_goal(looks, profile)
    traits = Trait.objects.in_bulk(list(counted))
    standings = {traits[key]: standing_of(counts) for key, counts in counted.items()}
    goals = {row.trait_id: row.goal_for("") for row in profile.traits.all()}
    by_summary = {trait.summary: (trait, stand) for trait, stand in standings.items() if trait.summary}
    others = sorted(
        ((trait, stand) for trait, stand in standings.items() if trait.summary not in ("surface", "undercolor")),
        key=lambda each: (-abs(each[1].inside.k / each[1].n - 0.5), each[0].section, each[0].position),
    )
    lines = [words.Line(trait, stand, goals.get(trait.pk)) for trait, stand in others]
    return {
        "pair": words.pair_sentence(by_summary.get("surface"), by_summary.get("undercolor")),
        "strengths": [line for line in lines if line.standing.verdict == "inside"],
        "faults": [line for line in lines if line.standing.verdict in ("below", "above", "outside")],
        "undecided": [line for line in lines if line.standing.verdict in ("open", "few")],
        "findings": findings_of(looks, profile),
    }


def findings_of(looks, profile):
    """(name, what the schedule makes of it, Part) of findings seen in at least one animal, the commonest first."""
    shares = shares_of(looks)
    rows = ProfileFinding.objects.filter(profile=profile, kind__in=list(shares)).select_related("kind")
    found = [
        (row.kind.name, row.get_effect_display(), Part(shares[row.kind_id].seen, shares[row.kind_id].checked))
        for row in rows
        if shares[row.kind_id].seen and row.effect != ProfileFinding.Effect.NOTE
    ]
    return sorted(found, key=lambda each: -each[2].k / each[2].n)


@dataclass(frozen=True)
class Closeness:
    """How inbred the animals are and how close to each other, as shares 0 to 1.

    `spread` over animals whose figure stands; `due` wait for the job; `unknown` have a parent unknown, which counts
    as 0. `mean_pair` is the mean over all matings of `does` with `bucks`, None where there is none.
    """

    spread: object
    due: int
    unknown: int
    highest: list
    mean_pair: float | None
    does: int
    bucks: int
    refused: str = ""


def inbreeding_of(animals):
    """The Closeness of these animals. Two queries."""
    figures = dict(Inbreeding.objects.filter(animal__in=[each.pk for each in animals]).values_list("animal", "value"))
    known = [(figures[each.pk], each) for each in animals if figures.get(each.pk) is not None]
    highest = sorted((row for row in known if row[0] > 0), key=lambda row: -row[0])[:CLOSEST]
    by_age = sorted(animals, key=lambda each: str(each.born_on or ""), reverse=True)
    does = [each.pk for each in by_age if each.sex == Sex.DOE][:MOST_PAIRED]
    bucks = [each.pk for each in by_age if each.sex == Sex.BUCK][:MOST_PAIRED]
    mean, refused = None, ""
    if does and bucks:
        try:
            mean = float(pedigree.coancestry_between(does, bucks).mean())
        except pedigree.PedigreeProblem as problem:
            refused = str(problem)
    return Closeness(
        spread([value for value, _ in known]), len(animals) - len(known),
        sum(each.sire_id is None or each.dam_id is None for each in animals),
        highest, mean, len(does), len(bucks), refused,
    )  # fmt: skip


@dataclass(frozen=True)
class SireRow:
    """A sire of animals that stand here: how many, of how many dams, the last birth, and means of those looked at."""

    sire: Animal
    young: Part
    dams: int
    newest: object
    coat: dict
    looked: int

    @property
    def fathers_most(self):
        return self.young.n >= 4 and self.young.k * 2 > self.young.n


def sires_of(animals, values):
    """SireRows of the animals here, the one with most first. No query: the sires came with the animals."""
    groups = defaultdict(list)
    for each in animals:
        if each.sire_id:
            groups[each.sire_id].append(each)
    rows = []
    for young in groups.values():
        keys = [each.pk for each in young]
        looked = {name: spread([values[name].get(key, float("nan")) for key in keys]) for name in load.COLUMNS}
        both = looked["surface"].mean is not None and looked["undercolor"].mean is not None
        rows.append(
            SireRow(
                young[0].sire, Part(len(young), len(animals)), len({each.dam_id for each in young if each.dam_id}),
                max((each.born_on for each in young if each.born_on), default=None),
                twoway.coat_of({name: part.mean for name, part in looked.items()}) if both else {},
                looked["surface"].n if both else 0,
            )
        )  # fmt: skip
    return sorted(rows, key=lambda row: (-row.young.k, str(row.sire)))
