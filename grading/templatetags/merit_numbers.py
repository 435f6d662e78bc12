"""Steps and shares as the pages on merits print them."""

from django import template

from grading import figures

register = template.Library()


@register.filter
def signed(steps):
    """'+0.42' or '−0.10'."""
    return figures.signed(steps)


@register.filter
def percent(share):
    """'12 %' of a share of 0 to 1."""
    return figures.percent(share)
