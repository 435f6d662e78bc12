"""A search reads a few hundred rows: starting further processes for it takes longer than the reading."""

from django.db import migrations

FUNCTIONS = ("herds_plain", "herds_words", "herds_numbers")


class Migration(migrations.Migration):
    dependencies = [("herds", "0012_marks_in_order")]

    operations = [
        migrations.RunSQL(
            [f"ALTER FUNCTION {name}(text) PARALLEL RESTRICTED"], [f"ALTER FUNCTION {name}(text) PARALLEL SAFE"]
        )
        for name in FUNCTIONS
    ]
