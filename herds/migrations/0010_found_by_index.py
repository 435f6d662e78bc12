"""The search functions say what they cost, so that the planner looks things up instead of reading whole tables.

Written in SQL they were put into the query's text, where their cost was lost. What they give is the same, so that the
indexes stay. Herds and members are looked up by index too.
"""

from importlib import import_module

from django.db import migrations

FUNCTIONS = import_module("herds.migrations.0007_found_as_people_type").FUNCTIONS
INDEXES = {
    "herd_name_plain": "herds_herd (herds_plain(name) text_pattern_ops)",
    "herd_prefix_plain": "herds_herd (herds_plain(prefix) text_pattern_ops)",
    "herd_name_words": "herds_herd USING gin (herds_words(name))",
    "herd_prefix_words": "herds_herd USING gin (herds_words(prefix))",
    "member_name_plain": "members_member (herds_plain(name) text_pattern_ops)",
    "member_name_words": "members_member USING gin (herds_words(name))",
}


def with_cost(sql):
    """The same function as PL/pgSQL, which is never put into the query's text."""
    sql = sql.replace("CREATE FUNCTION", "CREATE OR REPLACE FUNCTION").replace(
        "LANGUAGE sql", "LANGUAGE plpgsql COST 2000"
    )
    return sql.replace("$body$ SELECT ", "$body$ BEGIN RETURN ").replace(" $body$\n", "; END $body$\n")


class Migration(migrations.Migration):
    dependencies = [("herds", "0009_changes_remembered"), ("members", "0002_public_page_and_ranges")]

    operations = [
        *[
            migrations.RunSQL([with_cost(sql)], [sql.replace("CREATE FUNCTION", "CREATE OR REPLACE FUNCTION")])
            for _, sql in FUNCTIONS
        ],
        *[
            migrations.RunSQL([f"CREATE INDEX {name} ON {what}"], [f"DROP INDEX {name}"])
            for name, what in INDEXES.items()
        ],
    ]
