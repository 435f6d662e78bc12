"""The order in which people expect marks: A2 before A10."""

from django.db.models import CharField, Func


class NaturalKey(Func):
    """A text to sort by: capitals, and every number filled up with zeros to forty digits; NULL for an empty text."""

    template = (
        r"regexp_replace(regexp_replace(upper(NULLIF(%(expressions)s, '')), "
        r"'(\d+)', '0000000000000000000000000000000000000000\1', 'g'), '\d*(\d{40})', '\1', 'g')"
    )
    output_field = CharField()
