"""A region is as near as the registry says where somebody lives."""

import re

from django.core.exceptions import ValidationError


def clean_region(text):
    """The region without stray blanks; anything that looks like an address is refused."""
    text = " ".join((text or "").split())
    if re.search(r"\d", text) or "@" in text:
        raise ValidationError(
            "This looks like an address. Give a district or county in words; leave out house numbers and postcodes.",
            code="address",
        )
    return text
