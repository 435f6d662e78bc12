"""`remember(Model, ...)`: from then on the database keeps every change of the model's rows, however it is made."""

from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pgtrigger
from django.db import models

from .change import Audience

TRIGGER = "remember"
NEVER = (
    "version",
    "edited_at",
    "logged_by_id",
    "logged_at",
)  # bookkeeping, told by other columns or by the change itself


@dataclass(frozen=True)
class Remembered:
    """How a model's changes are told; `remember` makes it.

    `noun` names the row in a sentence: text with {column} of `about`, or a function of `Telling`. `itself` is the
    column whose value is the thing itself, so that "changed the tattoo from A1 to A2" needs no column's name. `tell`
    may give the whole sentence after the person's name, or None to leave it to the usual words. `units` has functions
    of (value, reader) for columns that need one, `named_with` the relations that the row's own name is made of.
    """

    model: type[models.Model]
    group: str
    audience: str
    noun: Any
    itself: str = ""
    tell: Callable[[Any], str | None] | None = None
    units: dict = field(default_factory=dict)
    named_with: tuple = ()


REMEMBERED: dict[str, Remembered] = {}


def remember(
    model,
    group,
    noun,
    *,
    audience=Audience.KEEPERS,
    public=(),
    leave_out=(),
    only=(),
    hidden=(),
    about=(),
    animal="NULL",
    herd="NULL",
    person="NULL",
    parent="",
    when="TRUE",
    made=False,
    itself="",
    tell=None,
    units=None,
    named_with=(),
):
    """Keep the changes of a model's rows, and say how they are told.

    `audience` reads all columns, or those in `public`, and the herd's keepers alone the others. `leave_out` (or all
    but `only`) are not kept, of `hidden` only that they changed. `animal`, `herd` and `person` are SQL that finds the keys
    from the row `it`. `parent` is the row it hangs on, on whose page it is told too: a foreign key's name, or the other
    model's label and SQL. Only while
    the SQL `when` holds anything is kept. Making a row is kept with `made`; else its own columns tell.
    """
    columns = {each.attname for each in model._meta.concrete_fields}
    if isinstance(parent, tuple):
        parent, parent_id = parent
    elif parent:
        link = model._meta.get_field(parent)
        parent, parent_id = link.remote_field.model._meta.label_lower, f"it.{link.attname}"
    else:
        parent_id = "NULL"
    generated = {each.attname for each in model._meta.concrete_fields if each.generated}
    skipped = (columns - set(only) if only else set(leave_out) | (columns & set(NEVER))) | generated | {"id"}
    if unknown := {*public, *leave_out, *only, *hidden, *about} - columns:
        raise ValueError(f"{model._meta.label} has no {', '.join(sorted(unknown))} to remember.")
    func = FUNCTION.format(
        label=model._meta.label_lower,
        pk=model._meta.pk.attname,
        skipped=array(skipped),
        is_open=f"key = ANY ({array(public)})" if public else "TRUE",
        hidden=array(hidden),
        audience=str(Audience(audience)),
        about=", ".join(f"'{column}', it.{column}" for column in about),
        parent=parent,
        parent_id=parent_id,
        animal=animal,
        herd=herd,
        person=person,
        when=when,
        keepers=str(Audience.KEEPERS),
    )
    operation = pgtrigger.Update | pgtrigger.Delete
    pgtrigger.register(
        pgtrigger.Trigger(
            name=TRIGGER,
            when=pgtrigger.After,
            operation=operation | pgtrigger.Insert if made else operation,
            declare=[
                ("it", model._meta.db_table),
                ("before_", "jsonb"),
                ("after_", "jsonb"),
                ("open_", "jsonb"),
                ("kept_", "jsonb"),
                ("facts", "jsonb"),
            ],
            func=func,
        )
    )(model)
    REMEMBERED[model._meta.label_lower] = Remembered(
        model, group, str(audience), noun, itself, tell, units or {}, named_with
    )


@contextmanager
def unremembered():
    """Within the block nothing is kept: for fillings of an empty registry, never for a change.

    The triggers' names go ahead of each statement, so it pays for few long statements, not for many short ones.
    """
    with pgtrigger.ignore(*(f"{each.model._meta.label}:{TRIGGER}" for each in REMEMBERED.values())):
        yield


def array(names):
    return "ARRAY[" + ", ".join(f"'{name}'" for name in sorted(names)) + "]::text[]"


FUNCTION = """
    IF TG_OP = 'UPDATE' AND OLD IS NOT DISTINCT FROM NEW THEN RETURN NULL; END IF;
    IF TG_OP = 'INSERT' THEN it := NEW; ELSE it := OLD; END IF;
    IF NOT ({when}) THEN RETURN NULL; END IF;
    before_ := CASE WHEN TG_OP = 'INSERT' THEN '{{}}' ELSE to_jsonb(OLD) - {skipped} END;
    after_ := CASE WHEN TG_OP = 'DELETE' THEN '{{}}' ELSE to_jsonb(NEW) - {skipped} END;
    SELECT coalesce(jsonb_object_agg(key, pair) FILTER (WHERE {is_open}), '{{}}'),
           coalesce(jsonb_object_agg(key, pair) FILTER (WHERE NOT ({is_open})), '{{}}')
        INTO open_, kept_
        FROM (SELECT key, CASE WHEN key = ANY ({hidden}) THEN '[]'
                          ELSE jsonb_build_array(before_ -> key, after_ -> key) END AS pair
              FROM jsonb_object_keys(before_ || after_) AS key
              WHERE coalesce(nullif(before_ -> key, 'null'), '""') <> coalesce(nullif(after_ -> key, 'null'), '""')
        ) AS changes;
    IF TG_OP = 'UPDATE' AND open_ = '{{}}' AND kept_ = '{{}}' THEN RETURN NULL; END IF;
    facts := nullif(current_setting('pghistory.context_metadata', true), '')::jsonb;
    INSERT INTO members_change (label, object_id, parent, parent_id, action, audience, changed, about, animal_id,
                                herd_id, person_id, member_id, reason, page)
    SELECT '{label}', it.{pk}, '{parent}', {parent_id}, lower(TG_OP), part.audience, part.changed,
           jsonb_build_object({about}), {animal}, {herd}, {person}, (facts ->> 'member')::bigint,
           left(coalesce(facts ->> 'reason', ''), 300), left(coalesce(facts ->> 'page', ''), 80)
    FROM (VALUES ('{audience}', open_, TRUE), ('{keepers}', kept_, FALSE)) AS part (audience, changed, is_main)
    WHERE part.changed <> '{{}}' OR (part.is_main AND TG_OP <> 'UPDATE');
    RETURN NULL;
"""
