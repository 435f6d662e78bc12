"""What a row adds to the registry: a new card, or what differs on a known one."""

from herds.models import Animal, MarkKind, RowOutcome
from herds.policies import IDENTITY, identity_rule
from herds.sheets.cells import key
from herds.units import kg_words
from herds.words import day_words, sex_word

from .nodes import pk_of
from .registry import issuer_of

UNDATED = "From a sheet that gives no day for it."
KINDS = {
    "mark": MarkKind.LEFT_EAR,
    "right_mark": MarkKind.RIGHT_EAR,
    "ring": MarkKind.RING,
    "registration": MarkKind.REGISTRATION,
}


def plan_changes(node, registry, scope):
    """Decide what the row creates or changes; a card that may not be changed stays as it is, and the row says so."""
    node.marks = {kind: node.record[name] for name, kind in KINDS.items() if node.record[name]}
    if node.existing is None:
        _plan_new(node, scope)
    else:
        _plan_known(node, registry, scope)
    if node.wrong:
        node.outcome = RowOutcome.REFUSED


def _plan_new(node, scope):
    if node.aside is not None:
        _stand_beside(node, scope)
    node.new_marks = list(node.marks.items())
    node.outcome = RowOutcome.CREATED
    grams = node.record["weight"]
    if grams:
        on = node.record["weighed"] or scope.weighed_on()
        if node.herd_id is None or on is None or (node.born_on and on < node.born_on):
            node.notes.append(f"Weight: {kg_words(grams)} kg.")
        else:
            node.weight = (on, grams, "" if node.record["weighed"] else UNDATED, None)


def _stand_beside(node, scope):
    """The animal stands in another herd already: a second card, without the numbers that can stand only once."""
    card = node.aside
    node.remarks.append(
        f"{card} in the registry may be the same animal. Both cards are shown to the registrar, who can make them one."
    )
    for kind in (MarkKind.REGISTRATION, MarkKind.RING):
        if text := node.marks.pop(kind, None):
            node.notes.append(number_note(kind, text))
    if node.bred_in_id and node.bred_in_id not in scope.kept:
        node.breeder_name, node.bred_in_id = scope.herds.by_pk[node.bred_in_id].name[:80], None


def number_note(kind, text):
    return f"{kind.label.capitalize()} in the sheet: {text}."


def _plan_known(node, registry, scope):
    card, found = node.existing, []
    _compare_free(node, card, found, scope)
    identity = _compare_identity(node, card, scope)
    if _is_another(node, card):
        return
    if not scope.may_touch(card):
        node.outcome = RowOutcome.SAME
        if found or identity:
            herd = scope.herds.by_pk.get(card.herd_id)
            node.remarks.append(f"{card} stands in {herd or 'another herd'} now, so its card is left as it is.")
        return
    _check_may_change(node, card, identity, scope)
    _compare_marks(node, card, registry)
    _compare_weight(node, card, registry, scope)
    _compare_notes(node, card, found)
    for field, value, old, new in [*found, *identity]:
        node.set[field] = value
        node.changes.append([IDENTITY.get(field, field), old, new])
    node.outcome = RowOutcome.CHANGED if node.changes else RowOutcome.SAME


def _is_another(node, card):
    """A mark that stands on a card with another name and another birth date: another animal, or a slip."""
    name, born = node.record["name"], node.record["born"]
    if not (name and card.name and born and card.born_on) or born == card.born_on or key(name) == key(card.name):
        return False
    number = node.record["registration"] or node.record["ring"]
    node.wrong.append(
        f"{number or node.record['mark']} is {card} in the registry, born {day_words(card.born_on)}, "
        f"but the row tells of "
        f"{name}, born {day_words(born)}. If it is another animal, correct the mark; if it is the same, "
        "correct its card."
    )
    return True


def _compare_free(node, card, found, scope):
    record = node.record
    prefix = scope.herds.prefixes.get(card.bred_in_id, "")
    name = key(record["name"] or "")
    if name and name.removeprefix(prefix) != key(card.name).removeprefix(prefix):
        found.append(("name", record["name"], card.name, record["name"]))
    if record["variety"] and record["variety"].casefold() != card.variety.casefold():
        found.append(("variety", record["variety"], card.variety, record["variety"]))
    if card.herd_id is None and node.herd_id and scope.herds.by_pk.get(node.herd_id):
        found.append(("herd_id", node.herd_id, "outside the club", str(scope.herds.by_pk[node.herd_id])))
        node.set["status"] = record["status"] or new_status(node, scope)
    elif record["status"] and record["status"] != card.status and (card.herd_id or record["status"] == "outside"):
        found.append(("status", record["status"], card.status, record["status"]))


def _compare_identity(node, card, scope):
    """(field, value, from, to) of facts of identity that differ; a parent's value is its entity."""
    record, found = node.record, []
    if record["sex"] and record["sex"] not in ("unknown", card.sex):
        found.append(("sex", record["sex"], sex_word(card.sex), sex_word(record["sex"])))
    if record["born"] and record["born"] != card.born_on:
        found.append(("born_on", record["born"], day_words(card.born_on), day_words(record["born"])))
    for role in ("sire", "dam"):
        parent = getattr(node, role)
        if parent is not None and (pk_of(parent) is None or pk_of(parent) != getattr(card, f"{role}_id")):
            found.append((role, parent, "known otherwise" if getattr(card, f"{role}_id") else "", str(parent)))
    if record["breeder"] and node.issuer != issuer_of(card.bred_in_id, card.breeder_name):
        value = (node.bred_in_id, node.breeder_name)
        old = scope.herds.by_pk.get(card.bred_in_id) or card.breeder_name
        found.append(("breeder", value, str(old), record["breeder"]))
    return found


def _check_may_change(node, card, identity, scope):
    known = [field for field, _value, old, _new in identity if old and old != "sex unknown"]
    if not known or scope.is_registrar:
        return
    rule = identity_rule(Animal.objects.get(pk=card.pk), scope.by)
    if not rule.may_change:
        words = " and the ".join(IDENTITY[field] for field in known)
        node.wrong.append(f"The {words} of {card} is recorded otherwise. {rule.why_not}")


def _compare_marks(node, card, registry):
    for kind, text in node.marks.items():
        current = registry.marks[card.pk].get(kind)
        if current is None and registry.by_number.get((kind, key(text)), set()) - {card.pk}:
            node.notes.append(number_note(kind, text))
            node.remarks.append(f"{text} is the {kind.label} of another card, so it goes into the notes.")
        elif current is None:
            if kind == MarkKind.LEFT_EAR and registry.by_left.get((node.issuer, key(text)), set()) - {card.pk}:
                node.wrong.append(f"{text} is the mark of another animal of this breeder. Correct the mark.")
            else:
                node.new_marks.append((kind, text))
                node.changes.append([kind.label, "", text])
        elif key(current) != key(text):
            node.wrong.append(
                f"{card} has the {kind.label} {current}, and the row says {text}. "
                "Correct the row, or replace the mark on "
                "the animal's page, where the old one stays readable."
            )


def _compare_weight(node, card, registry, scope):
    grams, dated = node.record["weight"], node.record["weighed"]
    if not grams:
        return
    on, weighings = dated or scope.weighed_on(), registry.weights[card.pk]
    herd = card.herd_id or node.herd_id
    if herd is None or on is None or (node.born_on and on < node.born_on):
        node.notes.append(f"Weight: {kg_words(grams)} kg.")
        return
    if not dated and any(weighed == grams for _pk, weighed, _note in weighings.values()):
        return
    earlier = weighings.get(on)
    if earlier and earlier[1] == grams:
        return
    if earlier and not dated:
        node.remarks.append(
            f"It was weighed today already, so the weight of the sheet ({kg_words(grams)} kg) is left out."
        )
        return
    node.weight = (on, grams, "" if dated else UNDATED, earlier[0] if earlier else None)
    old = f"{kg_words(earlier[1])} kg" if earlier else ""
    node.changes.append([f"weight on {day_words(on)}", old, f"{kg_words(grams)} kg"])


def _compare_notes(node, card, found):
    said = " ".join(card.notes.split())  # a cell is one line
    new = [line for line in node.notes if line not in card.notes and " ".join(line.split()) not in said]
    if new:
        notes = "\n".join([card.notes, *new] if card.notes else new)
        found.append(("notes", notes, card.notes[-200:], "\n".join(new)))


def new_status(node, scope):
    """Where an animal stands that comes in with this sheet, when the row does not say."""
    if node.herd_id is None:
        return "outside"
    return scope.status or ("here" if scope.herd is not None else "not_traced")
