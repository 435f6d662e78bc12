"""Many rows at once: copied into a table of the session, then put into the registry by one INSERT, triggers and all."""

from contextlib import contextmanager

from django.db import connection

from herds.models import Animal, Kit, Litter, Mark, Mating, Weight

MODELS = {"animal": Animal, "mark": Mark, "weight": Weight, "mating": Mating, "litter": Litter, "kit": Kit}
# The order in which rows can go: what stands on others first.
OUT_ORDER = ("kit", "weight", "litter", "mating", "mark", "animal")


def columns_of(model):
    """The columns that a row is written with, in the order of the model; what the database generates is left out."""
    return [field.column for field in model._meta.concrete_fields if not getattr(field, "generated", False)]


def defaults_of(model):
    """{column: default} for a new row."""
    return {
        field.column: field.get_default()
        for field in model._meta.concrete_fields
        if not getattr(field, "generated", False) and not field.primary_key
    }


def take_keys(model, number):
    """So many fresh keys of a table, in order."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)",
            [model._meta.db_table, number],
        )
        return [key for (key,) in cursor.fetchall()]


@contextmanager
def copied(name, columns, rows, like=None):
    """A table of this session, named `name`, that holds the rows (sequences in the order of `columns`)."""
    listed = ", ".join(f'"{column}"' for column in columns)
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {name}")
        kinds = f"(LIKE {like._meta.db_table})" if like else f"({listed.replace(',', ' bigint,')} bigint)"
        cursor.execute(f"CREATE TEMPORARY TABLE {name} {kinds}")
        if like:
            for column in [each for each in all_columns(like) if each not in columns]:
                cursor.execute(f'ALTER TABLE {name} DROP COLUMN IF EXISTS "{column}"')
        cursor.execute(f"ALTER TABLE {name} ADD COLUMN in_order bigserial")
        with cursor.copy(f"COPY {name} ({listed}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        cursor.execute(f"ANALYZE {name}")
    yield name
    with connection.cursor() as cursor:  # after an error the rollback drops it
        cursor.execute(f"DROP TABLE {name}")


def all_columns(model):
    return [field.column for field in model._meta.concrete_fields]


@contextmanager
def by_index():
    """Triggers and foreign keys look rows up by index within the block.

    They keep the plans of their first look-ups; one made while a table was nearly empty would read it whole for each of
    50,000 rows. And each trigger asks first whether it is to be ignored, which ends in an error that it swallows while
    the setting does not exist; undoing that error takes longer with every foreign key that waits to be checked.
    """
    with connection.cursor() as cursor:
        cursor.execute("DISCARD PLANS")
        cursor.execute(
            "SELECT set_config('pgtrigger.ignore', "
            "coalesce(nullif(current_setting('pgtrigger.ignore', true), ''), '{}'), true)"
        )
        cursor.execute("SET LOCAL enable_seqscan = off")
        yield
        cursor.execute("SET LOCAL enable_seqscan = on")


def check_references():
    """Check foreign keys now and not at the end of the transaction, so that a refusal is still this sheet's."""
    with by_index(), connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def insert(model, rows, told=None):
    """Put rows, given as {column: value}, into a table in their order."""
    if not rows:
        return
    if "id" not in rows[0]:
        for row, pk in zip(rows, take_keys(model, len(rows)), strict=True):
            row["id"] = pk
    columns, base = columns_of(model), defaults_of(model)
    listed = ", ".join(f'"{column}"' for column in columns)
    table = model._meta.db_table
    ready = ([row[column] if column in row else base[column] for column in columns] for row in rows)
    with copied(f"sheet_{table}", columns, ready, like=model) as staged, connection.cursor() as cursor:
        step = 10_000
        with by_index():
            for start in range(0, len(rows), step):
                cursor.execute(
                    f"INSERT INTO {table} ({listed}) SELECT {listed} FROM {staged} "
                    "WHERE in_order > %s AND in_order <= %s ORDER BY in_order",
                    [start, start + step],
                )
                if told:
                    told(min(start + step, len(rows)), len(rows))
        if len(rows) >= 500:
            cursor.execute(f"ANALYZE {table}")


def seal_words(kind, columns):
    """SQL of the seal of a row `t`: it changes with any of these columns."""
    listed = ", ".join(f't."{column}"' for column in columns)
    return f"md5(ROW({listed})::text)"


def sealed_columns():
    """The columns that seals are made of, by kind; kept with the batch, so that a later column breaks no seal."""
    return {kind: columns_of(model) for kind, model in MODELS.items()}
