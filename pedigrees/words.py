"""How figures of relationship read on every page."""


def percent(value) -> str:
    """A share as people read it: 0.125 is '12.5 %' with a space that does not break; None is 'being computed'."""
    if value is None:
        return "being computed"
    if 0 < value < 0.0001:
        return "under 0.01\u00a0%"
    digits = 2 if abs(value) < 0.1 else 1
    text = f"{100 * value:.{digits}f}".rstrip("0").rstrip(".")
    return f"{text}\u00a0%"
