"""How figures of relationship read on every page."""

from decimal import ROUND_HALF_UP, Decimal


def percent(value) -> str:
    """A share as people read it: 0.125 is '12.5 %' with a space that does not break; None is 'being computed'."""
    if value is None:
        return "being computed"
    if 0 < value < 0.0001:
        return "under 0.01\u00a0%"
    last = Decimal("0.01") if abs(value) < 0.1 else Decimal("0.1")
    text = f"{(100 * Decimal(value)).quantize(last, ROUND_HALF_UP):f}".rstrip("0").rstrip(".")
    return f"{text}\u00a0%"
