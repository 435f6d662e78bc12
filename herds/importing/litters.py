"""The plan of a list of kindlings: a mating and a litter for each row, with the kits that have rows of their own."""

from collections import defaultdict

from herds.models import Litter, Mating, RowOutcome
from herds.words import count_words, day_words

from .facts import too_young
from .nodes import Node, pk_of
from .parents import SEX_OF
from .registry import chunks

YOUNGEST_AT_MATING = 90


def plan_litters(litters, nodes, registry, scope):
    """Decide what each row of a list of litters creates, and tie the animals of the sheet to them."""
    known = _known_litters(litters)
    matings = _known_matings(litters)
    seen: dict[tuple, object] = {}
    for litter in litters:
        if not litter.wrong and not litter.asks:
            _check(litter, scope)
            litter.herd_id = litter.herd_id or _herd_of(litter.dam)
            if litter.herd_id is None:
                litter.wrong.append(
                    "Litters are logged for herds of the club only. Name the herd, or leave the row out."
                )
        if not litter.wrong and not litter.asks:
            _check_days_of_doe(litter, known, seen)
        if not litter.wrong and not litter.asks:
            _compare(litter, known, matings, scope)
        if litter.wrong or litter.asks:
            litter.outcome = RowOutcome.REFUSED if litter.wrong else RowOutcome.ASKED
    _tie_kits(litters, nodes)


def _check(litter, scope):
    if litter.dam is None:
        litter.wrong.append("The doe is not known, and a litter needs its doe. Fill in her mark or her name.")
        return
    for role in ("sire", "dam"):
        parent = getattr(litter, role)
        if parent is None:
            continue
        what = {"sire": "buck", "dam": "doe"}[role]
        if isinstance(parent, Node) and parent.left_out and not parent.existing:
            said = f"The {what} {parent} stands in {parent.where}, which does not go in. Mend that row first."
            litter.wrong.append(said)
        elif parent.sex not in ("unknown", SEX_OF[role]):
            litter.wrong.append(f"{parent} is named as the {what}, but is the other sex. Correct the row.")
        elif said := too_young(litter.born_on, role, parent, f"The {what} {parent}", scope.parent_days):
            litter.wrong.append(said)
    if litter.sire is not None and litter.sire is litter.dam:
        litter.wrong.append(f"{litter.dam} is named as buck and doe. Correct one of them.")
    _check_mating(litter, scope)


def _check_mating(litter, scope):
    mated, born = litter.record["mated"], litter.born_on
    if not mated:
        return
    days, club = (born - mated).days, scope.club
    if days < 0:
        litter.wrong.append(f"The mating on {day_words(mated)} lies after the kindling. Check both days.")
    elif litter.record["alive"] and not club.earliest_kindling_days <= days <= club.latest_kindling_days:
        litter.wrong.append(
            f"The kindling lies {count_words(days, 'day')} after the mating; live kits come from day "
            f"{club.earliest_kindling_days} to day {club.latest_kindling_days}. "
            "Check both days, or leave the mating out."
        )


def _check_days_of_doe(litter, known, seen):
    who = _who(litter.dam)
    if (who, litter.born_on) in seen:
        other = seen[who, litter.born_on]
        litter.wrong.append(f"This litter stands in row {other.record.number} already. Delete one of the rows.")
        return
    days = {born for other, born in seen if other == who} | set(known.get(pk_of(litter.dam), {}))
    near = [born for born in days if 0 < abs((born - litter.born_on).days) < 28]
    if near:
        litter.wrong.append(
            f"{litter.dam} has another litter of {day_words(near[0])}, and a doe carries at least 28 days. "
            "Check the day."
        )
        return
    seen[who, litter.born_on] = litter


def _compare(litter, known, matings, scope):
    row = known.get(pk_of(litter.dam), {}).get(litter.born_on)
    litter.outcome = RowOutcome.CREATED
    mated = litter.record["mated"]
    if mated and litter.sire is not None:
        litter.mating = matings.get((pk_of(litter.dam), pk_of(litter.sire), mated))
        if litter.mating is not None and litter.mating.has_litter and row is None:
            litter.wrong.append(f"The mating on {day_words(mated)} has its litter on record already. Check the day.")
            return
    if row is None:
        return
    litter.existing, litter.herd_id = row, row.herd_id
    for field, name in (("born_alive", "alive"), ("born_dead", "dead")):
        if getattr(row, field) != litter.record[name]:
            litter.changes.append([field.replace("_", " "), str(getattr(row, field)), str(litter.record[name])])
    if row.sire_id and litter.sire is not None and pk_of(litter.sire) != row.sire_id:
        litter.wrong.append("The litter is recorded with another sire. Correct the row, or the litter on its page.")
    if row.sire_id is None and litter.sire is not None:
        litter.changes.append(["sire", "", str(litter.sire)])
    if litter.changes and scope.herd is not None and row.herd_id not in scope.kept:
        litter.changes = []
        litter.remarks.append("The litter stands in another herd's log and is left as it is.")
    litter.outcome = RowOutcome.CHANGED if litter.changes else RowOutcome.SAME


def _tie_kits(litters, nodes):
    """The animals of the sheet that were born to the doe on that day are the litter's."""
    of = {(_who(litter.dam), litter.born_on): litter for litter in litters if litter.dam and not litter.left_out}
    for node in nodes:
        litter = of.get((_who(node.dam), node.born_on)) if node.dam is not None and not node.left_out else None
        if litter is None or node.existing is not None or len(litter.kits) >= 25:
            continue
        if node.sire is not None and litter.sire is not None and _who(node.sire) != _who(litter.sire):
            node.remarks.append(f"Its sire is not the buck of the {litter}, so it is not tied to that litter.")
            continue
        node.litter = litter
        litter.kits.append(node)
    for litter in of.values():
        if len(litter.kits) > litter.record["alive"]:
            litter.remarks.append(
                f"{count_words(len(litter.kits), 'animal')} of the sheet were born to this doe on that day, "
                "more than the "
                f"{litter.record['alive']} born alive."
            )


def _known_litters(litters):
    found = defaultdict(dict)
    dams = {pk for litter in litters if (pk := pk_of(litter.dam))}
    for some in chunks(dams):
        for row in Litter.objects.filter(dam__in=some):
            found[row.dam_id][row.born_on] = row
    return found


def _known_matings(litters):
    dams = {pk for litter in litters if (pk := pk_of(litter.dam))}
    found = {}
    for some in chunks(dams):
        for row in Mating.objects.filter(doe__in=some).prefetch_related("litters"):
            row.has_litter = bool(row.litters.all())
            found[row.doe_id, row.buck_id, row.mated_on] = row
    return found


def _herd_of(entity):
    if isinstance(entity, Node):
        return entity.existing.herd_id if entity.existing else entity.herd_id
    return getattr(entity, "herd_id", None)


def _who(entity):
    """The same for a row and the card that it is."""
    pk = pk_of(entity)
    return pk if pk else id(entity)
