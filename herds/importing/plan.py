"""The plan of a sheet: for every row what will be created or changed, why it is refused, or what must be asked."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from herds.models import MarkKind, RowKind, RowOutcome
from herds.sheets.cells import is_unknown, key, plain

from .changes import plan_changes
from .facts import check_facts, leave_out_children, order_by_birth
from .litters import plan_litters
from .nodes import LitterNode, Node
from .parents import Finder
from .registry import Registry

OPEN = {
    "dates": "“{said}” can be read in two ways. Say once for the sheet whether the day or the month stands first.",
    "weights": "The weight has no unit. Say once for the sheet which unit its weights are in.",
}


@dataclass
class Plan:
    """Rows in the order of the sheet, and outsiders that are entered as parents."""

    nodes: list
    litters: list
    outsiders: list = field(default_factory=list)
    missing: int = 0
    registry: Registry | None = None

    @property
    def rows(self):
        return sorted([*self.nodes, *self.litters], key=lambda node: node.place)

    def counts(self):
        """How many rows have which outcome: animals under their outcome's name, litters apart."""
        animals, litters = (Counter(node.outcome for node in nodes) for nodes in (self.nodes, self.litters))
        counts = {outcome.value: animals[outcome] for outcome in RowOutcome}
        for outcome in (RowOutcome.REFUSED, RowOutcome.ASKED):
            counts[outcome.value] += litters[outcome]
        return counts | {
            "litters": litters[RowOutcome.CREATED],
            "litters_changed": litters[RowOutcome.CHANGED],
            "litters_same": litters[RowOutcome.SAME],
            "outsiders": len(self.outsiders),
        }


def make_plan(records, scope):
    """The plan for the records of a sheet, against the registry as it is now. Nothing is written."""
    nodes = [Node(record) for record in records if record.kind == RowKind.ANIMAL]
    litters = [LitterNode(record) for record in records if record.kind == RowKind.LITTER]
    for node in nodes:
        _place(node, scope)
        _open_questions(node)
    for litter in litters:
        _open_questions(litter)
        litter.herd_id = scope.herd.pk if scope.herd else scope.herds.find(litter.record["keeper"])
    registry = _loaded(nodes, litters, scope)
    for node in nodes:
        _recognise(node, registry, scope)
    _refuse_doubles(nodes)
    registry.fetch_details({node.existing.pk for node in nodes if node.existing})
    registry.fetch({pk for node in nodes if node.existing for pk in (node.existing.sire_id, node.existing.dam_id)})
    finder = Finder(nodes, registry, scope)
    _find_parents(nodes, litters, finder)
    check_facts(nodes, registry, scope)
    in_order = order_by_birth(nodes, registry)
    for node in nodes:
        _settle(node)
    leave_out_children(in_order, scope)
    for node in nodes:
        if not node.left_out:
            plan_changes(node, registry, scope)
    plan_litters(litters, in_order, registry, scope)
    used = {id(parent) for node in [*nodes, *litters] if not node.left_out for parent in (node.sire, node.dam)}
    outsiders = [each for each in finder.outsiders.values() if id(each) in used]
    return Plan(nodes, litters, outsiders, finder.missing, registry)


def _place(node, scope):
    """The herd where the animal stands, its breeder and its breed, by the row's cells and the sheet's scope."""
    record = node.record
    breeder, keeper = record["breeder"], record["keeper"]
    if breeder:
        node.bred_in_id = scope.herds.find(breeder)
        node.breeder_name = "" if node.bred_in_id else breeder
    elif scope.herd is not None:
        node.bred_in_id = scope.herd.pk
    if scope.herd is not None:
        node.herd_id = scope.herd.pk
    else:
        node.herd_id = scope.herds.find(keeper) or (node.bred_in_id if not keeper else None)
    elsewhere = keeper and not is_unknown(keeper) and scope.herds.find(keeper) != node.herd_id
    if elsewhere and plain(keeper) != "outside the club":
        node.notes.append(f"Herd or owner: {keeper}.")
    node.breed_id = scope.breed.pk if scope.breed else None
    if record["breed"]:
        if found := scope.breeds.get(plain(record["breed"])):
            node.breed_id = found
        else:
            node.wrong.append(f"The club has no breed “{record['breed']}”. Correct the name, or leave the column out.")
    elif node.breed_id is None:
        node.wrong.append("The club has several breeds, and the row names none. Choose the sheet's breed.")


def _open_questions(node):
    for name in sorted(node.record.open):
        day = next((value for field, value in node.record.values.items() if field.endswith("_text")), "")
        node.asks.append({"key": name, "field": name, "said": day, "sentence": OPEN[name].format(said=day)})


def _loaded(nodes, litters, scope):
    """The registry with everything that marks, numbers, names and parents of these rows may mean nearby."""
    registry = Registry()
    marks, numbers, names = set(), set(), set()
    issuers = {node.issuer for node in nodes} | {("herd", node.herd_id) for node in nodes if node.herd_id}
    if scope.herd is not None:
        issuers.add(("herd", scope.herd.pk))
    issuers |= {("herd", litter.herd_id) for litter in litters if litter.herd_id}
    issuers.discard(("name", ""))
    for node in [*nodes, *litters]:
        values = node.record.values
        texts = {key(text) for role in ("sire", "dam") for text in values.get(role) or ()}
        marks |= texts | {key(values.get("mark") or "")}
        numbers |= texts | {key(values.get("registration") or ""), key(values.get("ring") or "")}
        names |= texts | {key(values.get("name") or "")}
        for prefix in {scope.herds.prefixes.get(getattr(node, "bred_in_id", None), ""), ""} - {""}:
            names |= {name.removeprefix(prefix) for name in texts | {key(values.get("name") or "")}}
    registry.load(marks=marks - {""}, numbers=numbers - {""}, names=names - {""}, issuers=issuers)
    return registry


def _recognise(node, registry, scope):
    """Find the row's animal in the registry: by number, by mark within its breeder, else by name and birth.

    A card that this sheet may change comes before one elsewhere, which may be the same animal and is only offered.
    """
    values = node.record.values
    numbered = set()
    for kind, name in ((MarkKind.REGISTRATION, "registration"), (MarkKind.RING, "ring")):
        if values.get(name):
            numbered |= registry.by_number.get((kind, key(values[name])), set())
    marked = set()
    if values.get("mark") and node.issuer != ("name", ""):
        marked = registry.by_left.get((node.issuer, key(values["mark"])), set())
    named = _by_name(node, registry, scope) if values.get("name") else set()
    for found in (numbered, marked, named):
        cards = [card for card in (registry.known[pk] for pk in found) if _is_own(card, scope)]
        if len(cards) > 1:
            cards = [card for card in cards if key(card.name) == key(values.get("name") or "")] or cards
        if len(cards) > 1:
            said = " and ".join(str(card) for card in cards[:3])
            node.wrong.append(f"The row fits several animals of the registry: {said}. Give its registration number.")
            return
        if cards:
            node.existing = cards[0]
            return
    elsewhere = numbered or marked or named
    node.aside = registry.known[min(elsewhere)] if elsewhere else None


def _is_own(card, scope):
    return scope.may_touch(card) or (scope.herd is not None and card.bred_in_id == scope.herd.pk)


def _by_name(node, registry, scope):
    """Animals of this name with the same birth date, or both without one; a mark that differs is another animal."""
    name = key(node.record["name"])
    prefix = scope.herds.prefixes.get(node.bred_in_id, "")
    words = {name, name.removeprefix(prefix)} - {""}
    places = {node.issuer} | ({("herd", node.herd_id)} if node.herd_id else set())
    found = set()
    for place in places:
        for word in words:
            for pk in registry.by_name.get((place, word), ()):
                card = registry.known[pk]
                same_mark = not (card.mark_text and node.record["mark"]) or key(card.mark_text) == key(
                    node.record["mark"]
                )
                if card.born_on == node.record["born"] and same_mark and card.sex in (node.sex, "unknown"):
                    found.add(pk)
    return found


def _refuse_doubles(nodes):
    """One ear number twice for one breeder, one registration number twice, one card twice: the later row is refused."""
    first: dict[tuple, Node] = {}
    for node in nodes:
        if node.wrong:
            continue
        mine = {}
        for name in ("registration", "ring"):
            if node.record[name]:
                mine[name, key(node.record[name])] = node.record[name]
        if node.record["mark"]:
            which = ("mark", node.issuer, key(node.record["mark"]))
            if node.issuer == ("name", ""):
                which += (key(node.record["name"] or ""), node.born_on)
            mine[which] = node.record["mark"]
        elif node.record["name"] and not mine:
            mine["name", node.issuer, key(node.record["name"]), node.born_on, node.sex] = node.record["name"]
        if node.existing:
            mine["card", node.existing.pk] = str(node.existing)
        taken = next((which for which in mine if which in first), None)
        if taken:
            other = first[taken]
            node.wrong.append(
                f"{mine[taken]} stands in {other.where} already ({other}). "
                "If it is another animal, correct its mark; if it is the same, delete one of the rows."
            )
            continue
        first.update(dict.fromkeys(mine, node))


def _find_parents(nodes, litters, finder):
    wanted = [(node, node.record[role] or ()) for node in [*nodes, *litters] for role in ("sire", "dam")]
    finder.look_elsewhere(wanted)
    for node in [*nodes, *litters]:
        existing = node.existing if isinstance(node, Node) else None
        for role in ("sire", "dam"):
            if texts := node.record[role]:
                kept = getattr(existing, f"{role}_id") if existing else None
                setattr(node, role, finder.find(node, role, texts, kept))


def _settle(node):
    if node.wrong:
        node.outcome = RowOutcome.REFUSED
    elif node.asks:
        node.outcome = RowOutcome.ASKED


def rows_by_outcome(plan):
    found = defaultdict(list)
    for node in plan.rows:
        found[node.outcome].append(node)
    return found
