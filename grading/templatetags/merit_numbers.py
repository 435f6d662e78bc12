"""Steps and shares as the pages on merits print them."""

from django import template

from grading.merit_words import percent as percent_words
from grading.taken_words import signed as signed_words

register = template.Library()


@register.filter
def signed(steps):
    """'+0.42' or '−0.10'."""
    return signed_words(steps)


@register.filter
def percent(share):
    """'12 %' of a share of 0 to 1."""
    return percent_words(share)
