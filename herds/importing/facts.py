"""Whether parents can be parents: sex, age, loops; said in sentences that name the animals and their rows."""

from datetime import timedelta

from django.db.models import Q

from herds.models import Animal, RowOutcome
from herds.words import age_words, count_words, day_words, listed

from .nodes import Node, Outsider
from .parents import NOUN, SEX_OF
from .registry import Known, chunks
from .scope import ASK


def check_facts(nodes, registry, scope):
    """Put on each row what contradicts: its parents' sex and age, and for a known animal its recorded progeny."""
    roles: dict[int, str] = {}
    for node in nodes:
        if node.sire is not None and node.sire is node.dam:
            node.wrong.append(f"{node.sire} is named as sire and as dam. Correct one of them.")
            continue
        for role in ("sire", "dam"):
            parent = getattr(node, role)
            if parent is not None and (said := why_no_parent(node, role, parent, roles, scope)):
                node.wrong.append(said)
    _check_progeny(nodes, registry, scope)


def why_no_parent(child, role, parent, roles, scope):
    """A sentence when `parent` cannot be the sire or dam of the child, else ''."""
    named = f"Its {role} {parent}{in_row(parent)}"
    if parent.sex not in ("unknown", SEX_OF[role]):
        other = "doe" if role == "sire" else "buck"
        return f"{named} is a {other}. Name a {NOUN[role]}, or correct the sex of {parent}."
    first = roles.setdefault(id(parent), role)
    if first != role:
        return (
            f"{parent}{in_row(parent)} is named as a {first} in another row, and here as a {role}. Correct one of them."
        )
    return too_young(child.born_on, role, parent, named, scope.parent_days)


def too_young(born, role, parent, named, days):
    if not born or not parent.born_on or (born - parent.born_on).days >= days:
        return ""
    if born <= parent.born_on:
        return (
            f"{named} was born on {day_words(parent.born_on)}, not before this birth on {day_words(born)}. "
            f"Check both days, or name another {role}."
        )
    return (
        f"{named} was born on {day_words(parent.born_on)} and would have been {age_words(parent.born_on, born)} old at "
        f"this birth on {day_words(born)}; the club asks for at least {count_words(days, 'day')}. Check both days, or "
        f"name another {role}."
    )


def in_row(entity):
    return f" ({entity.where})" if isinstance(entity, Node) else ""


def _check_progeny(nodes, registry, scope):
    """A known animal whose birth date or sex the sheet changes must still fit its progeny on record."""
    changed = {
        node.existing.pk: node
        for node in nodes
        if node.existing and (node.born_on != node.existing.born_on or node.sex != node.existing.sex)
    }
    row_of = {node.existing.pk: node for node in nodes if node.existing}
    for some in chunks(changed):
        young = Animal.objects.filter(Q(sire__in=some) | Q(dam__in=some))
        for pk, sire, dam, born_on, text, name in young.values_list(
            "pk", "sire", "dam", "born_on", "mark_text", "name"
        ):
            born_on = row_of[pk].born_on if pk in row_of else born_on
            for role, parent in (("sire", sire), ("dam", dam)):
                node = changed.get(parent)
                if node is None:
                    continue
                called = " ".join(word for word in (text, name) if word)
                if node.sex not in ("unknown", SEX_OF[role]):
                    node.wrong.append(f"{node} is recorded as the {role} of {called}. Correct the progeny first.")
                elif node.born_on and born_on and born_on < node.born_on + timedelta(days=scope.parent_days):
                    node.wrong.append(
                        f"{called} is recorded as progeny of {node} and was born on {day_words(born_on)}, "
                        "before or too "
                        "soon after this birth. Check the birth date."
                    )


def order_by_birth(nodes, registry):
    """The rows with parents before their young; those whose parents go in a circle are refused by name."""
    row_of = {node.existing.pk: node for node in nodes if node.existing}
    up = {node: _parents(node, registry, row_of) for node in nodes}
    if any(_moves(node) for node in nodes):
        cards = {each.pk for parents in up.values() for each in parents if isinstance(each, Known)}
        _climb(up, cards | set(row_of), registry, row_of)
    waiting = {each: sum(parent in up for parent in parents) for each, parents in up.items()}
    down: dict = {each: [] for each in up}
    for each, parents in up.items():
        for parent in parents:
            if parent in down:
                down[parent].append(each)
    ready, order = [each for each, number in waiting.items() if not number], []
    while ready:
        each = ready.pop()
        order.append(each)
        for child in down[each]:
            waiting[child] -= 1
            if not waiting[child]:
                ready.append(child)
    rest = set(up) - set(order)
    _refuse_circles(rest, up, down)
    order += sorted((each for each in rest if isinstance(each, Node)), key=lambda node: node.place)
    return [each for each in order if isinstance(each, Node)]


def _parents(node, registry, row_of):
    """Both parents as they will be: those of the row, else those on the card."""
    found = []
    for role in ("sire", "dam"):
        parent = getattr(node, role)
        if parent is None and node.existing and (pk := getattr(node.existing, f"{role}_id")):
            parent = row_of.get(pk) or registry.known.get(pk)
        if parent is not None and not isinstance(parent, Outsider):
            found.append(parent)
    return found


def _moves(node):
    """True when the sheet gives a known animal another parent: only then can a circle run through the registry."""
    return bool(node.existing and (node.sire is not None or node.dam is not None))


def _climb(up, cards, registry, row_of):
    above = registry.ancestors(cards)
    registry.fetch(above)
    for pk, parents in above.items():
        if pk not in row_of:
            up[registry.known[pk]] = [row_of.get(each) or registry.known[each] for each in parents if each]


def _refuse_circles(rest, up, down):
    """`rest` holds circles and their young; peel the young off, then say of each circle who stands in it."""
    circle = set(rest)
    leaves = [each for each in circle if not any(child in circle for child in down[each])]
    while leaves:
        each = leaves.pop()
        circle.discard(each)
        leaves += [
            parent for parent in up[each] if parent in circle and not any(child in circle for child in down[parent])
        ]
    for each in circle:
        if isinstance(each, Node):
            path = _path(each, up, circle)
            others = [str(other) for other in path if other is not each]
            through = f", through {listed(others[:6])}" if others else ""
            each.wrong.append(
                f"With these parents {each} would be its own ancestor{through}. Correct one of the parents."
            )
            each.outcome = RowOutcome.REFUSED


def _path(start, up, circle):
    path, seen, here = [start], {start}, start
    while True:
        here = next((parent for parent in up[here] if parent in circle), None)
        if here is None or here in seen:
            return path
        path.append(here)
        seen.add(here)


def leave_out_children(in_order, scope):
    """What a row can do whose parent's row does not go in: wait, or go in without that parent."""
    for node in in_order:
        for role in ("sire", "dam"):
            parent = getattr(node, role)
            if not isinstance(parent, Node) or not parent.left_out or parent.existing:
                continue
            if scope.missing == ASK:
                said = (
                    f"Its {role} {parent} stands in {parent.where}, which does not go in. "
                    f"Mend that row, or leave the {role} unknown."
                )
                node.asks.append({"key": "missing", "field": role, "said": str(parent), "sentence": said})
                if node.outcome != RowOutcome.REFUSED:
                    node.outcome = RowOutcome.ASKED
            else:
                setattr(node, role, None)
                node.notes.append(f"{role.capitalize()}: {parent}.")
                node.remarks.append(f"Its {role} {parent} does not go in, so it is left unknown, as you said.")
