"""The order in which people expect marks, A2 before A10, and what two spellings have in common."""

from django.db.models import CharField, F, Func, Value
from django.db.models.functions import Coalesce, Concat, Replace, Upper


class NaturalKey(Func):
    """A text to sort by: capitals, and every number filled up with zeros to forty digits; NULL for an empty text."""

    template = (
        r"regexp_replace(regexp_replace(upper(NULLIF(%(expressions)s, '')), "
        r"'(\d+)', '0000000000000000000000000000000000000000\1', 'g'), '\d*(\d{40})', '\1', 'g')"
    )
    output_field = CharField()


def Keyed(*parts):
    """The key of the joined texts, computed in the database: capitals without spaces and hyphens."""
    joined = Concat(*[Coalesce(F(part), Value("")) for part in parts]) if len(parts) > 1 else F(parts[0])
    return Upper(Replace(Replace(joined, Value(" "), Value("")), Value("-"), Value("")))
