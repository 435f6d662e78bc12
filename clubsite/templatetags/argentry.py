"""Tags that every page may use: {% load argentry %}."""

import uuid

from django import template
from django.utils.html import format_html

from clubsite.simple_text import simple_text as as_markup

register = template.Library()


@register.filter
def simple_text(text):
    """Paragraphs, lists and links of a text that people typed: {{ club.introduction|simple_text }}."""
    return as_markup(text)


@register.simple_tag
def submission_key():
    """The hidden field that lets a form be sent twice and carried out once."""
    return format_html('<input type="hidden" name="submission_key" value="{}">', uuid.uuid4())
