"""A rule that the database refused becomes the sentence that a person reads."""

from contextlib import contextmanager

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

SENTENCES: dict[str, tuple[str | None, str]] = {}


def sentence(name, text, field=None):
    """Register what to say, and by which field, when the constraint or trigger `name` refuses a row."""
    SENTENCES[name] = (field, text)
    return name


def explained(error):
    """The ValidationError that says the same as a database refusal."""
    diag = getattr(error.__cause__, "diag", None)
    name = getattr(diag, "constraint_name", None) or ""
    if name in SENTENCES:
        field, text = SENTENCES[name]
        return ValidationError({field: text} if field else text, code=name)
    from django.apps import apps

    for model in apps.get_models():
        for constraint in model._meta.constraints:
            if constraint.name == name:
                return ValidationError(str(constraint.get_violation_error_message()), code=name)
    return ValidationError("The registry refused this because it contradicts what is already recorded.", code=name)


@contextmanager
def rules_explained():
    """One transaction in which a refused row raises a ValidationError with a sentence."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        raise explained(error) from error
