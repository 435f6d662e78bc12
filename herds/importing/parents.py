"""Which animal a cell under Sire or Dam means: matched when only one can be meant, asked when several can."""

import hashlib
from collections import defaultdict

from herds.models import MarkKind
from herds.sheets.cells import key

from .nodes import Node, Outsider, described
from .registry import Known
from .scope import ASK, OUTSIDE

SEX_OF = {"sire": "buck", "dam": "doe"}
NOUN = {"sire": "buck", "dam": "doe"}


class Finder:
    """Finds parents among the rows of the sheet and the cards of the registry.

    The nearest place that knows the words decides: the same breeder (mark, name) and numbers that are unique
    anywhere; then the herd of the sheet; then the whole sheet and registry, where a bare mark is only asked about.
    """

    def __init__(self, nodes, registry, scope):
        self.registry, self.scope = registry, scope
        self.near = defaultdict(list)  # (issuer or herd, key): rows
        self.far = defaultdict(list)  # key: rows, by name or full name
        self.bare = defaultdict(list)  # key: rows, by mark
        self.row_of = {}  # pk of a card: the row that is this animal
        self.rows = {}
        for node in nodes:
            self._add(node)
        self.outsiders: dict[tuple, Outsider] = {}
        self.missing = 0
        self._elsewhere: dict[str, set] = {}

    def _add(self, node):
        values = node.record.values
        self.rows[node.place] = node
        if node.existing:
            self.row_of[node.existing.pk] = node
        mark, name, number = (key(values.get(each) or "") for each in ("mark", "name", "registration"))
        ring = key(values.get("ring") or "")
        for word in {number, ring} - {""}:
            self.near[None, word].append(node)
        prefix = self.scope.herds.prefixes.get(node.bred_in_id, "")
        words = {mark, name, mark + name if mark and name else "", name + mark if mark and name else ""}
        if prefix and name:
            words.add(name.removeprefix(prefix) if name.startswith(prefix) else prefix + name)
        words |= {key(node.breeder_name) + mark if mark and node.breeder_name else ""}
        for place in {node.issuer, ("herd", node.herd_id)}:
            for word in words - {""}:
                self.near[place, word].append(node)
        for word in words - {"", mark}:
            self.far[word].append(node)
        if mark:
            self.bare[mark].append(node)

    def look_elsewhere(self, wanted):
        """Ask the registry at once for all words that no near place knows."""
        texts = {text for owner, words in wanted for text in words if not self._near(owner, text)}
        self._elsewhere = self.registry.elsewhere(texts, self.scope.herds)

    def find(self, owner, role, texts, kept_pk=None):
        """The parent that the cells mean: an entity, or None with what was said put on `owner`."""
        found = [(text, self._candidates(owner, text)) for text in texts]
        known = [(text, near, far) for text, (near, far) in found if near or far]
        if not known:
            return self._missing(owner, role, texts[0])
        sure = bool(known[0][1])
        people = _unique(known[0][1] or known[0][2])
        for text, near, far in known[1:]:
            both = [each for each in people if each in _unique(near or far)]
            if not both and sure and near:
                owner.wrong.append(
                    f"“{known[0][0]}” and “{text}” are two animals, but one {role}. Correct one of them."
                )
                return None
            people, sure = both or people, sure or bool(near and both)
        return self._decide(owner, role, known[0][0], people, sure, kept_pk)

    def _near(self, owner, text):
        word = key(text)
        issuer = owner.issuer if isinstance(owner, Node) else ("herd", owner.herd_id)
        places = [issuer, None] if isinstance(owner, Node) else [None]
        found = []
        for place in places:
            found += self.near.get((place, word), ())
        found += self._cards(self.registry.by_left.get((issuer, word), ()))
        found += self._cards(self.registry.by_name.get((issuer, word), ()))
        for kind in (MarkKind.REGISTRATION, MarkKind.RING):
            found += self._cards(self.registry.by_number.get((kind, word), ()))
        if found or not owner.herd_id:
            return found
        herd = ("herd", owner.herd_id)
        found += self.near.get((herd, word), ())
        found += self._cards(self.registry.by_name.get((herd, word), ()))
        if not found:
            found += [
                card
                for card in self._cards(self._elsewhere.get(word, ()))
                if (card.existing if isinstance(card, Node) else card).herd_id == owner.herd_id
            ]
        return found

    def _candidates(self, owner, text):
        """(near, far) entities. What is far, but named in full, counts as near when nothing else is called so."""
        near = self._near(owner, text)
        if near:
            return near, []
        word = key(text)
        named, marked = self.far.get(word, []), self.bare.get(word, [])
        cards = self._cards(self._elsewhere.get(word, ()))
        everyone = _unique([*named, *marked, *cards])
        if len(everyone) == 1 and (named or self._in_full(everyone[0], word)):
            return everyone, []
        return [], everyone

    def _in_full(self, card, word):
        """True when the words hold prefix and name, or mark and name, of a card: more than a bare mark or name."""
        if isinstance(card, Node):
            card = card.existing
        if card is None or not card.name:
            return False
        prefix = self.scope.herds.prefixes.get(card.bred_in_id, "")
        full = {key(card.mark_text) + key(card.name)} if card.mark_text else set()
        if prefix:
            full.add(prefix + key(card.name).removeprefix(prefix))
        return word in full

    def _cards(self, pks):
        """Cards as entities; a card that is a row of the sheet is that row."""
        return [self.row_of.get(pk) or self.registry.known[pk] for pk in pks]

    def _decide(self, owner, role, text, people, sure, kept_pk):
        kept = [each for each in people if kept_pk and _pk(each) == kept_pk]
        if kept:
            return kept[0]
        others = [each for each in people if each is not owner]
        if not others:
            owner.wrong.append(f"The row names itself as its own {role}. Correct the {role}.")
            return None
        able = [each for each in others if each.sex in ("unknown", SEX_OF[role])] or others
        if owner.born_on:
            able = [each for each in able if not each.born_on or each.born_on < owner.born_on] or able
        if len(able) == 1 and (sure or len(others) > 1):
            return able[0]
        ids = sorted(_name_of(each) for each in able)
        question = hashlib.sha256("|".join([role, key(text), *ids]).encode()).hexdigest()[:16]
        answer = self.scope.parents.get(question, "")
        if answer == "unknown":
            owner.remarks.append(f"The {role} “{text}” is left unknown, as you said.")
            return None
        if answer in ids:
            return next(each for each in able if _name_of(each) == answer)
        choices = [[_name_of(each), described(each, self.scope.herds)] for each in able]
        owner.asks.append({"key": question, "field": role, "said": text, "choices": choices})
        return None

    def _missing(self, owner, role, text):
        if self.scope.missing == OUTSIDE:
            breed = getattr(owner, "breed_id", None) or (self.scope.breed.pk if self.scope.breed else None)
            new = Outsider(text, SEX_OF[role], owner.place, breed)
            return self.outsiders.setdefault(new.key, new)
        self.missing += 1
        if self.scope.missing == ASK:
            owner.asks.append({"key": "missing", "field": role, "said": text})
        else:
            owner.remarks.append(f"The {role} “{text}” has no row and no card, so it is left unknown.")
            owner.notes.append(f"{role.capitalize()}: {text}.") if hasattr(owner, "notes") else None
        return None


def _unique(entities):
    return list({id(each): each for each in entities}.values())


def _pk(entity):
    if isinstance(entity, Known):
        return entity.pk
    return entity.existing.pk if entity.existing else None


def _name_of(entity):
    """How an answer names a candidate."""
    return f"animal:{entity.pk}" if isinstance(entity, Known) else f"row:{entity.place}"
