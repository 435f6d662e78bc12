"""Cautions: what the log says before a step that may hurt. The person reads it, and may go on."""

from dataclasses import dataclass

from django.core.exceptions import ValidationError


@dataclass(frozen=True)
class Caution:
    """One sentence of warning; `code` says which rule spoke."""

    code: str
    text: str


class NotYetConfirmed(ValidationError):
    """Nothing was saved: the person has first to read these cautions and send the form again with `token`."""

    def __init__(self, cautions, token):
        super().__init__([caution.text for caution in cautions])
        self.cautions = cautions
        self.token = token


def ask_first(cautions, *, about, confirmed):
    """Raise NotYetConfirmed unless `confirmed` is the token of exactly these cautions about exactly these rows."""
    if not cautions:
        return
    token = "-".join([*[str(part) for part in about], *sorted(caution.code for caution in cautions)])
    if token != confirmed:
        raise NotYetConfirmed(cautions, token)
