"""Puts a plan into the registry in one transaction, and keeps what it created and changed for the way back."""

from datetime import date

import pgtrigger
from django.db import connection
from django.utils import timezone

from herds.models import Animal, Correction, ImportChange, Kit, Litter, Mark, MarkKind, Mating, RowOutcome, Weight
from herds.policies import IDENTITY

from .changes import new_status
from .duplicates import offer_duplicates
from .nodes import Node, pk_of
from .tables import MODELS, copied, insert, seal_words, sealed_columns, take_keys

SHOWN_FIRST = {MarkKind.LEFT_EAR: 0, MarkKind.RING: 1, MarkKind.RIGHT_EAR: 2, MarkKind.REGISTRATION: 3}
MUTABLE = (
    "herd_id", "name", "sex", "variety", "born_on", "sire_id", "dam_id", "bred_in_id", "breeder_name", "status",
    "notes",
)  # fmt: skip


class Meanwhile(Exception):
    """Somebody changed one of the animals while the sheet went in; nothing of it is kept."""


class Writer:
    """One plan on its way in. `created` and `changed` hold what the undo needs, by kind."""

    def __init__(self, plan, scope, batch, tell=lambda *step: None):
        self.plan, self.scope, self.batch, self.tell = plan, scope, batch, tell
        self.now = timezone.now()
        self.by = scope.by.pk if scope.by is not None else None
        self.created: dict[str, list] = {kind: [] for kind in MODELS}
        self.changed: dict[str, dict] = {kind: {} for kind in MODELS}

    def write(self):
        """Write all rows of the plan that go in. The caller holds the transaction."""
        new = [node for node in self.plan.nodes if node.outcome == RowOutcome.CREATED]
        known = [node for node in self.plan.nodes if node.outcome == RowOutcome.CHANGED]
        litters = [row for row in self.plan.litters if row.outcome == RowOutcome.CREATED]
        self._take_keys(new, litters)
        self._animals(new)
        self._change_animals(known)
        self._marks(new, known)
        self._weights(new, known)
        self._litters(litters)
        self._change_litters([row for row in self.plan.litters if row.outcome == RowOutcome.CHANGED])
        self.tell("comparing with other herds' animals")
        offer_duplicates(new, self.batch)
        self._keep_changes()

    def _take_keys(self, new, litters):
        self.outsiders = self.plan.outsiders
        for each, pk in zip([*self.outsiders, *new], take_keys(Animal, len(self.outsiders) + len(new)), strict=True):
            each.pk = pk
        for litter, pk in zip(litters, take_keys(Litter, len(litters)), strict=True):
            litter.pk = pk

    def _base(self, **values):
        return {"logged_by_id": self.by, "logged_at": self.now, **values}

    def _animals(self, new):
        rows = [
            self._base(
                id=each.pk, breed_id=each.breed_id, sex=each.sex, status="outside", version=1, edited_at=self.now,
                name="" if each.is_mark else each.text[:80], mark_text=each.text[:40] if each.is_mark else "",
            )
            for each in self.outsiders
        ]  # fmt: skip
        for node in _parents_first(new):
            values = node.record.values
            rows.append(
                self._base(
                    id=node.pk,
                    herd_id=node.herd_id,
                    breed_id=node.breed_id,
                    name=values.get("name") or "",
                    sex=values.get("sex") or "unknown",
                    variety=values.get("variety") or "",
                    born_on=values.get("born"),
                    sire_id=pk_of(node.sire),
                    dam_id=pk_of(node.dam),
                    litter_id=pk_of(node.litter),
                    bred_in_id=node.bred_in_id,
                    breeder_name=node.breeder_name,
                    status=self._status(node),
                    notes="\n".join(node.notes),
                    mark_text=_shown(node.new_marks),
                    version=1,
                    edited_at=self.now,
                )
            )
        insert(Animal, rows, lambda done, total: self.tell("writing animals", done, total))
        self.created["animal"] = [row["id"] for row in rows]

    def _status(self, node):
        said = node.record["status"]
        if said and not (node.herd_id is None and said in ("here", "on_loan")):
            return said
        return new_status(node, self.scope)

    def _marks(self, new, known):
        fresh = [
            self._mark(node.pk, kind, text, node.bred_in_id, node.breeder_name)
            for node in new
            for kind, text in node.new_marks
        ]
        fresh += [
            self._mark(each.pk, MarkKind.LEFT_EAR, each.text, None, "") for each in self.outsiders if each.is_mark
        ]
        added = []
        for node in known:
            breeder = node.set.get("breeder") or (node.existing.bred_in_id, node.existing.breeder_name)
            added += [self._mark(node.existing.pk, kind, text, *breeder) for kind, text in node.new_marks]
        for row, pk in zip([*fresh, *added], take_keys(Mark, len(fresh) + len(added)), strict=True):
            row["id"] = pk
        # The cards of new animals carry their mark already, so the trigger that copies it has nothing to do.
        with pgtrigger.ignore("herds.Mark:mark_shown_on_animal"):
            insert(Mark, fresh, lambda done, total: self.tell("writing marks", done, total))
        insert(Mark, added)
        self.created["mark"] = [row["id"] for row in [*fresh, *added]]

    def _mark(self, animal, kind, text, herd, name):
        ear = kind in (MarkKind.LEFT_EAR, MarkKind.RIGHT_EAR)
        return self._base(
            animal_id=animal,
            kind=str(kind),
            text=text,
            issued_by_id=herd if ear else None,
            issuer_name=name if ear else "",
        )

    def _weights(self, new, known):
        rows = []
        for node in [*new, *known]:
            if not node.weight:
                continue
            on, grams, note, earlier = node.weight
            herd = (node.existing.herd_id if node.existing else None) or node.herd_id
            if earlier is None:
                rows.append(self._base(herd_id=herd, animal_id=pk_of(node), on=on, grams=grams, note=note))
            else:
                row = Weight.objects.get(pk=earlier)
                self.changed["weight"][earlier] = {"grams": row.grams, "note": row.note}
                Weight.objects.filter(pk=earlier).update(grams=grams, note=note)
        for row, pk in zip(rows, take_keys(Weight, len(rows)), strict=True):
            row["id"] = pk
        insert(Weight, rows, lambda done, total: self.tell("writing weights", done, total))
        self.created["weight"] = [row["id"] for row in rows]

    def _change_animals(self, known):
        rows, corrections, renamed = [], [], []
        for node in known:
            card = node.existing
            values = {name: getattr(card, name) for name in MUTABLE}
            for field, value in node.set.items():
                if field == "breeder":
                    values["bred_in_id"], values["breeder_name"] = value
                    renamed.append((node, value))
                elif field in ("sire", "dam"):
                    values[f"{field}_id"] = pk_of(value)
                else:
                    values[field] = value
            before = {name: _plain(getattr(card, name)) for name in MUTABLE if values[name] != getattr(card, name)}
            if not before:
                continue
            self.changed["animal"][card.pk] = before
            rows.append([card.pk, card.version, *(values[name] for name in MUTABLE)])
            corrections += self._corrections(node)
        if not rows:
            return
        self._update_animals(rows)
        for node, (herd, name) in renamed:
            ears = Mark.objects.current().filter(animal=node.existing.pk, kind__in=("left_ear", "right_ear"))
            for mark in ears:
                self.changed["mark"][mark.pk] = {"issued_by_id": mark.issued_by_id, "issuer_name": mark.issuer_name}
            ears.update(issued_by=herd, issuer_name=name)
        if self.by is not None:
            Correction.objects.bulk_create(corrections, batch_size=2000)

    def _update_animals(self, rows):
        columns = ["id", "version", *MUTABLE]
        sets = ", ".join(f'"{name}" = t."{name}"' for name in MUTABLE)
        self.tell("changing animals", 0, len(rows))
        with copied("sheet_changed", columns, rows, like=Animal) as staged, connection.cursor() as cursor:
            cursor.execute(
                f"UPDATE herds_animal a SET {sets}, version = a.version + 1, edited_at = %s FROM {staged} t "
                "WHERE a.id = t.id AND a.version = t.version",
                [self.now],
            )
            if cursor.rowcount != len(rows):
                raise Meanwhile

    def _corrections(self, node):
        for label, old, new in node.changes:
            if label in IDENTITY.values():
                yield Correction(
                    animal_id=node.existing.pk, field=label, old=old[:200], new=new[:200], by_id=self.by,
                    reason=f"Sheet “{self.batch.name if self.batch else ''}”, {node.where}."[:300],
                )  # fmt: skip

    def _litters(self, litters):
        self.tell("writing litters")
        pairs = [row for row in litters if row.record["mated"] and row.sire is not None and row.mating is None]
        matings = [
            self._base(
                id=pk, herd_id=row.herd_id, doe_id=pk_of(row.dam), buck_id=pk_of(row.sire),
                mated_on=row.record["mated"],
                version=1, edited_at=self.now,
            )
            for row, pk in zip(pairs, take_keys(Mating, len(pairs)), strict=True)
        ]  # fmt: skip
        insert(Mating, matings)
        self.created["mating"] = [row["id"] for row in matings]
        mating_of = {id(row): mating["id"] for row, mating in zip(pairs, matings, strict=True)}
        insert(Litter, [self._litter(row, mating_of.get(id(row))) for row in litters])
        self.created["litter"] = [row.pk for row in litters]
        kits = [
            {"litter_id": row.pk, "number": number, "animal_id": node.pk, "sex": node.record["sex"] or "unknown",
             "version": 1, "edited_at": self.now}
            for row in litters for number, node in enumerate(row.kits, 1)
        ]  # fmt: skip
        for kit, pk in zip(kits, take_keys(Kit, len(kits)), strict=True):
            kit["id"] = pk
        insert(Kit, kits)
        self.created["kit"] = [kit["id"] for kit in kits]

    def _litter(self, row, mating):
        notes = list(row.record["notes"] or ())
        return self._base(
            id=row.pk, herd_id=row.herd_id, mating_id=mating or (row.mating.pk if row.mating else None),
            dam_id=pk_of(row.dam), sire_id=pk_of(row.sire), born_on=row.born_on, born_alive=row.record["alive"],
            born_dead=row.record["dead"], note="\n".join(notes), version=1, edited_at=self.now,
        )  # fmt: skip

    def _change_litters(self, litters):
        for row in litters:
            old = row.existing
            self.changed["litter"][old.pk] = {
                "born_alive": old.born_alive, "born_dead": old.born_dead, "sire_id": old.sire_id,
            }  # fmt: skip
            old.born_alive, old.born_dead = row.record["alive"], row.record["dead"]
            old.sire_id = old.sire_id or pk_of(row.sire)
            old.save_version(old.version, ["born_alive", "born_dead", "sire"])

    def _keep_changes(self):
        if self.batch is None:
            return
        sealed = sealed_columns()
        for kind, model in MODELS.items():
            ImportChange.objects.bulk_create(
                [
                    ImportChange(batch=self.batch, kind=kind, thing=pk, before=before)
                    for pk, before in self.changed[kind].items()
                ],
                batch_size=2000,
            )
            seal, table = seal_words(kind, sealed[kind]), model._meta.db_table
            with connection.cursor() as cursor:
                cursor.execute(
                    "INSERT INTO herds_importchange (batch_id, kind, thing, before, seal) "
                    f"SELECT %s, %s, t.id, NULL, {seal} "
                    f"FROM {table} t WHERE t.id = ANY(%s)",
                    [self.batch.pk, kind, self.created[kind]],
                )
                cursor.execute(
                    f"UPDATE herds_importchange c SET seal = {seal} FROM {table} t "
                    "WHERE c.batch_id = %s AND c.kind = %s AND c.before IS NOT NULL AND t.id = c.thing",
                    [self.batch.pk, kind],
                )
        self.batch.sealed = sealed


def _parents_first(new):
    """New rows so that parents stand before their young; the plan has no circles any more."""
    waiting = {id(node) for node in new}
    done, order = set(), []
    for start in new:
        stack = [start]
        while stack:
            node = stack[-1]
            if id(node) in done:
                stack.pop()
                continue
            above = [
                parent
                for parent in (node.sire, node.dam)
                if isinstance(parent, Node) and id(parent) in waiting and id(parent) not in done
            ]
            if above:
                stack += above
            else:
                done.add(id(node))
                order.append(stack.pop())
    return order


def _shown(marks):
    """The mark that the card shows, as the trigger chooses it."""
    return min(marks, key=lambda mark: SHOWN_FIRST[MarkKind(mark[0])])[1] if marks else ""


def _plain(value):
    return value.isoformat() if isinstance(value, date) else value
