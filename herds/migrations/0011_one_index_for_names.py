"""Names are looked up by one index: a second one over breeder and name was taken for the wrong searches."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("herds", "0010_found_by_index")]

    operations = [
        migrations.RunSQL(
            ["DROP INDEX IF EXISTS animal_bred_in_plain"],
            ["CREATE INDEX animal_bred_in_plain ON herds_animal (bred_in_id, herds_plain(name) text_pattern_ops)"],
        )
    ]
