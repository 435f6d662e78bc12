"""An animal's progeny as a tree that grows downwards: by mate and litter, a page of litters at a time."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

from django.core.paginator import Paginator
from django.db import connection
from django.db.models import Count, Q

from herds.models import Animal
from pedigrees.actions.inbreeding import refresh_soon
from pedigrees.load import inbreeding_of
from pedigrees.places import cell_parts

LITTERS_A_PAGE = 12
A_LITTER_SHOWN = 30  # animals without birth date and dam may stand together by the hundred
YOUNG_SHOWN = 6  # of each young one's own progeny, before the rest is counted only
COUNTED_GENERATIONS = 3
_NO_DAY = date.min

COUNTS = """
    WITH RECURSIVE down(id, generation) AS (
        SELECT %s::bigint, 0
        UNION
        SELECT young.id, generation + 1 FROM down CROSS JOIN LATERAL (
            SELECT id FROM herds_animal WHERE sire_id = down.id
            UNION ALL SELECT id FROM herds_animal WHERE dam_id = down.id) AS young
        WHERE generation < %s)
    SELECT generation, count(*) FROM down WHERE generation > 0 GROUP BY generation ORDER BY generation
"""
NEXT_GENERATION = """
    SELECT parent.id, young.id, young.mate, young.born_on, young.progeny
    FROM unnest(%s::bigint[]) AS parent(id) CROSS JOIN LATERAL (
        SELECT id, born_on, mate, count(*) OVER () AS progeny FROM (
            SELECT id, born_on, dam_id AS mate FROM herds_animal WHERE sire_id = parent.id
            UNION ALL SELECT id, born_on, sire_id FROM herds_animal WHERE dam_id = parent.id) AS progeny_rows
        ORDER BY born_on DESC NULLS LAST, id LIMIT %s) AS young
"""


@dataclass
class Young:
    """One of the progeny, with as much of its own progeny as is shown and how many that leaves out."""

    animal: Animal
    inbreeding: float | None = None
    computing: bool = False
    parts: list = field(default_factory=list)
    progeny: int = 0
    below: list = field(default_factory=list)

    @property
    def left_out(self):
        return self.progeny - len(self.below)


@dataclass
class Brood:
    """The progeny of one mating born on one day, as far as cards tell: the herd's log is not asked."""

    mate: Animal | None
    born_on: object
    count: int
    young: list = field(default_factory=list)

    @property
    def left_out(self):
        return self.count - len(self.young)


@dataclass
class ProgenyTree:
    page: object
    broods: list
    counts: list
    mates: int
    litters: int


def progeny_of(animal, member, number=1) -> ProgenyTree:
    """A page of the animal's litters, newest first, and the generation below; as many queries whatever its size."""
    groups = _groups(animal)
    page = Paginator(groups, LITTERS_A_PAGE).get_page(number)
    broods = [Brood(mate, born, count) for mate, born, count in page.object_list]
    young = _young_of(animal, broods)
    keys = [each.pk for rows in young.values() for each in rows]
    below, parts, figures = _next_generation(keys), cell_parts(member, keys), inbreeding_of(keys)
    if None in figures.values():
        refresh_soon()
    wanted = {brood.mate for brood in broods} | {key for rows in below.values() for row in rows for key in row[:2]}
    others = Animal.objects.in_bulk(wanted - {None})
    for brood in broods:
        for each in young[brood.mate, brood.born_on]:
            rows = below[each.pk]
            one = Young(each, parts=parts[each.pk], progeny=rows[0][2] if rows else 0)
            one.below = [(others[key], others.get(mate)) for key, mate, _ in rows]
            one.computing = figures.get(each.pk) is None
            one.inbreeding = figures.get(each.pk) if each.sire_id and each.dam_id else None
            brood.young.append(one)
        brood.mate = others.get(brood.mate)
    return ProgenyTree(page, broods, _counts(animal), len({mate for mate, *_ in groups if mate}), len(groups))


def _groups(animal):
    """(mate, born_on, how many), newest first; of an animal of either role, though never of both."""
    found: dict = defaultdict(int)
    for role, mate in (("sire", "dam_id"), ("dam", "sire_id")):
        rows = Animal.objects.filter(**{role: animal}).order_by().values_list(mate, "born_on").annotate(n=Count("pk"))
        for key, born, count in rows:
            found[key, born] += count
    ordered = sorted(
        found.items(), key=lambda item: (item[0][1] is None, -(item[0][1] or _NO_DAY).toordinal(), item[0][0] or 0)
    )
    return [(mate, born, count) for (mate, born), count in ordered]


def _young_of(animal, broods):
    """{(mate, born_on): [animals]} of the litters on this page, in the order of their marks."""
    found = defaultdict(list)
    wanted = Q()
    for brood in broods:
        born = Q(born_on=brood.born_on) if brood.born_on else Q(born_on__isnull=True)
        as_sire = Q(sire=animal, dam=brood.mate) if brood.mate else Q(sire=animal, dam__isnull=True)
        as_dam = Q(dam=animal, sire=brood.mate) if brood.mate else Q(dam=animal, sire__isnull=True)
        wanted |= born & (as_sire | as_dam)
    for each in Animal.objects.filter(wanted).by_mark() if broods else ():
        rows = found[each.dam_id if each.sire_id == animal.pk else each.sire_id, each.born_on]
        if len(rows) < A_LITTER_SHOWN:
            rows.append(each)
    return found


def _next_generation(keys):
    """{parent: [(animal, mate, how many progeny the parent has in all), ...]}, at most YOUNG_SHOWN each."""
    found = defaultdict(list)
    with connection.cursor() as cursor:
        cursor.execute(NEXT_GENERATION, [keys, YOUNG_SHOWN])
        for parent, key, mate, _born, count in cursor:
            found[parent].append((key, mate, count))
    return found


def _counts(animal):
    """How many different descendants each of the next generations has: [(1, 37), (2, 112), ...]."""
    with connection.cursor() as cursor:
        cursor.execute(COUNTS, [animal.pk, COUNTED_GENERATIONS])
        return list(cursor)
