"""Takes a sheet back out, exactly: what it created goes, what it changed returns, unless something stands on it."""

import pgtrigger
from django.db import connection, models

from clubsite.members.models.remember import unremembered
from herds.models import (
    Animal,
    Correction,
    ImportChange,
    ImportProgress,
    ImportRow,
    Litter,
    Mark,
    PossibleDuplicate,
    Weight,
)
from herds.policies import IDENTITY

from .registry import chunks
from .tables import MODELS, OUT_ORDER, by_index, check_references, copied, seal_words
from .writing import MUTABLE

SHOWN = 5
OWN = (ImportRow, ImportChange, ImportProgress)  # what only tells of sheets never stands in the way
KIND_OF = {model: kind for kind, model in MODELS.items()}
NOUNS = {
    "animal": "animal",
    "mark": "mark",
    "weight": "weight",
    "mating": "mating",
    "litter": "litter",
    "kit": "kit row",
}


def what_touched(batch):
    """Sentences that name what changed or now stands on the rows of this sheet; none when it can be taken back."""
    found = []
    for kind, model in MODELS.items():
        if len(found) < SHOWN:
            found += _changed(batch, kind, model)
    for kind, model in MODELS.items():
        for relation in _relations(model):
            if len(found) < SHOWN:
                found += _standing_on(batch, kind, relation)
    return list(dict.fromkeys(found))[:SHOWN]


def _changed(batch, kind, model):
    """Rows whose seal is broken: somebody wrote to them after the sheet."""
    seal = seal_words(kind, batch.sealed[kind])
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT c.thing, t.id IS NULL FROM herds_importchange c "
            f"LEFT JOIN {model._meta.db_table} t ON t.id = c.thing "
            f"WHERE c.batch_id = %s AND c.kind = %s AND (t.id IS NULL OR {seal} <> c.seal) "
            f"ORDER BY c.thing LIMIT {SHOWN}",
            [batch.pk, kind],
        )
        rows = cursor.fetchall()
    for pk, gone in rows:
        if gone:
            yield f"A {NOUNS[kind]} that the sheet brought in was removed since."
        else:
            row = model.objects.get(pk=pk)
            yield f"{_named(kind, row)} was changed after the sheet went in."


def _named(kind, row):
    if kind == "animal":
        return str(row)
    if kind == "mark":
        return f"The mark {row} of {row.animal}"
    if kind == "weight":
        return f"The weight of {row.animal} on {row.on:%-d %B %Y}"
    text = str(row)
    return f"The {text}" if kind == "litter" else f"The {NOUNS[kind]} “{text}”"


def _relations(model):
    """Every foreign key of any app that points at this model, but for those of sheets and of the audit trail."""
    for relation in model._meta.get_fields(include_hidden=True):
        if not (relation.auto_created and (relation.one_to_many or relation.one_to_one)) or relation.concrete:
            continue
        related = relation.related_model
        if related in OWN or not related._meta.managed or any(field.name == "pgh_id" for field in related._meta.fields):
            continue
        if not is_extension(relation):
            yield relation


def is_extension(relation):
    """A row whose own key is the animal's, such as a figure worked out for it: it comes and goes with the animal."""
    return relation.field.primary_key and relation.on_delete is models.CASCADE


def _standing_on(batch, kind, relation):
    """Rows from elsewhere that point at something this sheet created, a sentence each."""
    related, column = relation.related_model, relation.field.column
    table, key = related._meta.db_table, related._meta.pk.column
    own = KIND_OF.get(related, "")
    open_pair = "AND t.state <> 'open'" if related is PossibleDuplicate else ""
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT c.thing FROM herds_importchange c JOIN {table} t ON t."{column}" = c.thing '
            f"WHERE c.batch_id = %s AND c.kind = %s AND c.before IS NULL {open_pair} AND NOT EXISTS ("
            f'SELECT 1 FROM herds_importchange o WHERE o.batch_id = %s AND o.kind = %s AND o.thing = t."{key}") '
            f"LIMIT {SHOWN}",
            [batch.pk, kind, batch.pk, own],
        )
        things = [pk for (pk,) in cursor.fetchall()]
    what = related._meta.verbose_name
    article = "an" if what[:1] in "aeiou" else "a"
    for row in MODELS[kind].objects.filter(pk__in=things):
        yield f"{_named(kind, row)} has {article} {what} in the registry that did not come with the sheet."


def take_out(batch, tell=lambda *step: None):
    """Remove what the sheet created and bring back what it changed; the caller holds the transaction and checked."""
    tell("bringing former values back")
    _restore_animals(batch)
    for kind, model in (("mark", Mark), ("weight", Weight), ("litter", Litter)):
        for change in batch.changes.filter(kind=kind, before__isnull=False):
            model.objects.filter(pk=change.thing).update(**change.before)
    tell("taking rows out")
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE herds_importchange")
        things = "SELECT thing FROM herds_importchange WHERE batch_id = %s AND kind = 'animal' AND before IS NULL"
        pairs = PossibleDuplicate._meta.db_table
        cursor.execute(f"DELETE FROM {pairs} WHERE first_id IN ({things}) OR second_id IN ({things})", [batch.pk] * 2)
        cursor.execute(f"UPDATE herds_importrow SET animal_id = NULL WHERE animal_id IN ({things})", [batch.pk])
        for relation in Animal._meta.get_fields(include_hidden=True):
            if relation.auto_created and relation.one_to_one and is_extension(relation):
                table, column = relation.related_model._meta.db_table, relation.field.column
                cursor.execute(f"DELETE FROM {table} WHERE {column} IN ({things})", [batch.pk])
        for kind in OUT_ORDER:
            # What came with a sheet goes as it came: the sheet itself remembers it, so the trail of changes need not.
            with by_index(), unremembered():
                _delete(cursor, batch, kind)
            tell(f"taking out: {NOUNS[kind]}s")
        check_references()
        cursor.execute("DELETE FROM herds_importchange WHERE batch_id = %s", [batch.pk])


def _delete(cursor, batch, kind):
    table = MODELS[kind]._meta.db_table
    mine = "SELECT thing FROM herds_importchange WHERE batch_id = %s AND kind = %s AND before IS NULL"
    if kind == "mark":  # the cards that go with their marks need no new mark shown
        going = "SELECT thing FROM herds_importchange WHERE batch_id = %s AND kind = 'animal' AND before IS NULL"
        with pgtrigger.ignore("herds.Mark:mark_shown_on_animal"):
            cursor.execute(
                f"DELETE FROM {table} WHERE id IN ({mine}) AND animal_id IN ({going})", [batch.pk, kind, batch.pk]
            )
    cursor.execute(f"DELETE FROM {table} WHERE id IN ({mine})", [batch.pk, kind])


def _restore_animals(batch):
    changes = list(batch.changes.filter(kind="animal", before__isnull=False))
    if not changes:
        return
    before = {change.thing: change.before for change in changes}
    rows = []
    for some in chunks(before):
        for row in Animal.objects.filter(pk__in=some).values("pk", *MUTABLE):
            pk = row.pop("pk")
            rows.append([pk, *(before[pk].get(name, row[name]) for name in MUTABLE)])
    sets = ", ".join(f'"{name}" = t."{name}"' for name in MUTABLE)
    with copied("sheet_restored", ["id", *MUTABLE], rows, like=Animal) as staged, connection.cursor() as cursor:
        cursor.execute(
            f"UPDATE herds_animal a SET {sets}, version = a.version + 1, edited_at = now() "
            f"FROM {staged} t WHERE a.id = t.id"
        )
    _correct_back(batch, list(before))


def _correct_back(batch, animals):
    """Changes of identity that are taken back stand on the card's trail like any other."""
    by = batch.undone_by_id or batch.by_id
    if by is None:
        return
    corrections = [
        Correction(
            animal_id=row.animal_id, field=label, old=new[:200], new=old[:200], by_id=by,
            reason=f"Sheet “{batch.name}” was taken back."[:300],
        )
        for some in chunks(animals)
        for row in batch.rows.filter(animal__in=some)
        for label, old, new in row.changes
        if label in IDENTITY.values()
    ]  # fmt: skip
    Correction.objects.bulk_create(corrections, batch_size=2000)
