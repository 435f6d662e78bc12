"""Pairs of cards that may be one animal, for the registrar: found among the new animals of a sheet."""

from django.db import connection

from herds.models import PossibleDuplicate
from herds.words import day_words

MOST_PAIRS = 5_000
KEY = "upper(replace(replace({}, ' ', ''), '-', ''))"
# Two registration numbers are two animals.
TWO_NUMBERS = """EXISTS (SELECT 1 FROM herds_mark m WHERE m.animal_id = n.id AND m.kind = 'registration')
    AND EXISTS (SELECT 1 FROM herds_mark m WHERE m.animal_id = o.id AND m.kind = 'registration')"""
# A name with a birth date and a sex, in another herd or outside the club, unless both have registration numbers.
SAME_NAME = f"""
    SELECT n.id, o.id, n.name, n.born_on FROM herds_animal n JOIN herds_animal o
        ON {KEY.format("o.name")} = {KEY.format("n.name")} AND o.born_on = n.born_on AND o.sex = n.sex AND o.id <> n.id
    WHERE n.id = ANY(%s) AND n.name <> '' AND n.born_on IS NOT NULL
      AND (o.herd_id IS DISTINCT FROM n.herd_id OR n.herd_id IS NULL)
      AND NOT ({TWO_NUMBERS})
    LIMIT {MOST_PAIRS}
"""
# The same mark, birth date and named parents, in another herd.
SAME_MARK = f"""
    SELECT n.id, o.id, mn.text, n.born_on FROM herds_animal n
        JOIN herds_mark mn ON mn.animal_id = n.id AND mn.kind = 'left_ear' AND mn.replaced_on IS NULL
        JOIN herds_mark mo ON mo.key = mn.key AND mo.kind = 'left_ear' AND mo.replaced_on IS NULL
        JOIN herds_animal o ON o.id = mo.animal_id AND o.id <> n.id AND o.born_on = n.born_on
        JOIN herds_animal ns ON ns.id = n.sire_id JOIN herds_animal os ON os.id = o.sire_id
        JOIN herds_animal nd ON nd.id = n.dam_id JOIN herds_animal od ON od.id = o.dam_id
    WHERE n.id = ANY(%s) AND (o.herd_id IS DISTINCT FROM n.herd_id OR n.herd_id IS NULL)
      AND (ns.id = os.id OR (ns.name <> '' AND {KEY.format("ns.name")} = {KEY.format("os.name")}))
      AND (nd.id = od.id OR (nd.name <> '' AND {KEY.format("nd.name")} = {KEY.format("od.name")}))
      AND NOT ({TWO_NUMBERS})
    LIMIT {MOST_PAIRS}
"""


def offer_duplicates(new, batch):
    """Offer the registrar every pair that a sheet made: returns how many."""
    pairs = {}
    for node in new:
        if node.aside is not None:
            shared = node.record["registration"] or node.record["ring"] or node.record["mark"] or node.record["name"]
            pairs[_pair(node.pk, node.aside.pk)] = f"Both are called {shared}."
    keys = [node.pk for node in new]
    for query, words in ((SAME_NAME, "name"), (SAME_MARK, "mark and the parents")):
        with connection.cursor() as cursor:
            cursor.execute(query, [keys])
            for first, second, text, born_on in cursor.fetchall():
                why = f"Both have the {words} {text}, born {day_words(born_on)}."
                if "parents" in words:
                    why = f"Both have the mark {text}, were born {day_words(born_on)}, and name the same parents."
                pairs.setdefault(_pair(first, second), why)
    PossibleDuplicate.objects.bulk_create(
        [PossibleDuplicate(first_id=a, second_id=b, why=why[:300]) for (a, b), why in pairs.items()],
        ignore_conflicts=True,
        batch_size=2000,
    )
    return len(pairs)


def _pair(one, other):
    return (min(one, other), max(one, other))
