"""Filters for figures of relationship: {% load pedigree_words %}."""

from django import template

from pedigrees import words

register = template.Library()


@register.filter
def percent(value):
    """A share in percent, '12.5 %': {{ cell.inbreeding|percent }}."""
    return words.percent(value)
