"""What the search box looks things up by: texts without accents, case, spaces and signs, and their single words.

Only functions that every PostgreSQL since 13 has are used, and no extension, so that a club's own server on which
nobody may create extensions searches as well as the embedded one. Each function holds all it needs: while an index is
built or restored, PostgreSQL finds nothing outside its own catalogue.
"""

from django.db import migrations

SIGNS = r"""[[:space:]\u00a0''"’`´.,:;/_()-]+"""
PLAIN = r"""
    upper(replace(replace(replace(replace(replace(
        translate(regexp_replace(normalize($1, NFKD), '[\u0300-\u036f]', '', 'g'), 'øØłŁđĐı', 'oOlLdDi'),
        'ß', 'ss'), 'æ', 'ae'), 'Æ', 'AE'), 'œ', 'oe'), 'Œ', 'OE'))
"""


def function(name, returns, body):
    return f"""
        CREATE FUNCTION {name}(text) RETURNS {returns}
        LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE AS $body$ SELECT {body} $body$
    """


def words(text):
    return f"array_to_tsvector(array_remove(string_to_array({text}, ' '), ''))"


FUNCTIONS = [
    ("herds_plain", function("herds_plain", "text", f"regexp_replace({PLAIN}, '{SIGNS}', '', 'g')")),
    ("herds_words", function("herds_words", "tsvector", words(f"regexp_replace({PLAIN}, '{SIGNS}', ' ', 'g')"))),
    (
        "herds_numbers",
        function("herds_numbers", "tsvector", words(f"trim(regexp_replace({PLAIN}, '[^0-9]+', ' ', 'g'))")),
    ),
]
INDEXES = {
    "animal_name_plain": "herds_animal (herds_plain(name) text_pattern_ops)",
    "animal_name_words": "herds_animal USING gin (herds_words(name))",
    "mark_plain": "herds_mark (herds_plain(text) text_pattern_ops)",
    "mark_numbers": "herds_mark USING gin (herds_numbers(text))",
    "animal_bred_in_plain": "herds_animal (bred_in_id, herds_plain(name) text_pattern_ops)",
}


class Migration(migrations.Migration):
    dependencies = [("herds", "0006_health_notes_and_calendar_addresses")]

    operations = [
        *[migrations.RunSQL([sql], [f"DROP FUNCTION {name}(text)"]) for name, sql in FUNCTIONS],
        *[
            migrations.RunSQL([f"CREATE INDEX {name} ON {what}"], [f"DROP INDEX {name}"])
            for name, what in INDEXES.items()
        ],
    ]
