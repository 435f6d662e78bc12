"""Steps and shares as the pages on merits print them."""

from django import template

from grading import figures

register = template.Library()


@register.filter
def signed(steps, decimals=2):
    """'+0.42' or '−0.10': {{ steps|signed }}; |signed:1 for one decimal."""
    return figures.signed(steps, decimals)


@register.filter
def thousands(count):
    """'3,098'."""
    return f"{count:,}"


@register.filter
def percent(share):
    """'12 %' of a share of 0 to 1."""
    return figures.percent(share)
