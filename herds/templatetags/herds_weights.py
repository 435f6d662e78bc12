"""Weights in the reader's unit: {% load herds_weights %}."""

from django import template

from herds import units

register = template.Library()


@register.filter
def weight(grams, unit):
    """Grams in words: {{ weight.grams|weight:user.weight_unit }} gives '9 lb 3 oz' or '4.17 kg'."""
    return units.weight_words(grams, unit)


@register.filter
def gain(grams_a_day, unit):
    """Grams a day in words, with their sign: {{ row.gain|gain:user.weight_unit }}."""
    return units.gain_words(grams_a_day, unit)
