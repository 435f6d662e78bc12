"""Filters of the breeding log: {% load herds_log %}."""

from django import template

from herds.log_lists import mating_words
from herds.models import Sex, WhitePlace

register = template.Library()


@register.filter
def stands(mating):
    """Where a mating stands: 'open', 'felt: in kindle', 'litter of 8', 'given up'."""
    return mating_words(mating)


@register.filter
def white_at_birth(kit):
    """'not looked', 'none seen', or the places."""
    return ", ".join(str(WhitePlace(place).label) for place in kit.white_at) if kit.white_at else "not looked"


@register.filter
def sex_of_kit(kit):
    """'buck', 'doe' or 'sex unknown'; once the kit is marked, that of its animal."""
    return str(Sex(kit.animal.sex if kit.animal else kit.sex).label)
