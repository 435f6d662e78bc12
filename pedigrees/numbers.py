"""Certificate numbers that notice a slip of the pen: year, running number, check digits (ISO/IEC 7064, MOD 97-10)."""

import re

SHAPE = re.compile(r"^([0-9]{4})-?([0-9]{4,7})-?([0-9]{2})$")
ODD_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—−", "-"))


def check_digits(digits: str) -> str:
    """The two digits that make the whole number leave a remainder of 1 when divided by 97."""
    return f"{98 - int(digits) * 100 % 97:02d}"


def holds(digits: str) -> bool:
    """Whether a number with its two check digits at the end was copied without a slip."""
    return int(digits) % 97 == 1


def numbered(year: int, count: int) -> str:
    """'2026-0007-45' for the seventh certificate of a year."""
    digits = f"{year}{count:04d}"
    return f"{year}-{count:04d}-{check_digits(digits)}"


def read(text: str) -> str:
    """The number as it is kept, of what a person typed; ValueError with a sentence when it cannot be one."""
    typed = "".join(text.translate(ODD_DASHES).split())
    found = SHAPE.match(typed)
    if not found:
        raise ValueError("A certificate's number looks like 2026-0007-45: the year, a number, two check digits.")
    if not holds("".join(found.groups())):
        raise ValueError("This number holds a slip: its check digits do not fit. Compare it with the paper again.")
    return "-".join(found.groups())
