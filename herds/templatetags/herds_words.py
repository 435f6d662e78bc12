"""Filters for ages, sexes and days: {% load herds_words %}."""

from django import template
from django.utils import timezone

from herds import words
from herds.models import Verdict

register = template.Library()


@register.filter
def age(born):
    """Age today in words, of a birth date: {{ animal.born_on|age }}."""
    return words.age_words(born, timezone.localdate())


@register.filter
def age_on(born, on):
    """Age on a day in words: {{ animal.born_on|age_on:look.observed_on }}."""
    return words.age_words(born, on)


@register.filter
def day(value):
    """A day in words, '3 May 2026': {{ animal.born_on|day }}."""
    return words.day_words(value)


@register.filter
def sex_word(sex):
    """'buck', 'doe' or 'sex unknown': {{ animal.sex|sex_word }}."""
    return words.sex_word(sex)


@register.filter
def card_words(animal):
    """What tells two animals of one mark apart, 'doe, born 3 May 2026, Ashgrove': {{ animal|card_words }}."""
    return words.card_words(animal)


@register.filter
def counted(number, noun):
    """A number with its noun, '1 doe' or '3 does': {{ count|counted:"doe" }}; |counted:"half,halves" when irregular."""
    one, _, many = noun.partition(",")
    return words.count_words(number, one, many or None)


@register.filter
def verdict_word(verdict):
    """'keep', 'grow on' or 'let go': {{ animal.verdict|verdict_word }}."""
    return str(Verdict(verdict).label) if verdict else ""


@register.simple_tag(takes_context=True)
def draw(context, part, values=None):
    """Draw a registered panel with its values, or a column's cell: {% draw panel values %}."""
    with context.push(**(values or {})):
        return context.template.engine.get_template(part.template).render(context)
